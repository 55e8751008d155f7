"""The checklist: what a job calls for and nothing that it doesn't."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from foamwright.checklist import CHECKLIST, STAGES, Item, checklist, load_checklist
from foamwright.findings import Refused
from foamwright.hazards import HAZARDS, Rules, load_rules
from foamwright.safety import Use
from foamwright.shelf_folder import packaged_profiles

GOLDEN = Path(__file__).with_name("checklist_golden.txt")

FOAM = Use(
    "pu-foam-25mm", ("polyurethane-foam",), "label", "flatbed-knife-1200", "oscillating-knife",
    thickness=25.0, hold=("vacuum-film",), left=37.25,
)  # fmt: skip
FELT = Use(
    "felt-1mm", ("wool", "polyester", "fusible-adhesive"), "label", "roll-drag-knife-600",
    "drag-knife", thickness=1.0, feed="roll", hold=("stabiliser",), settings="measured",
)  # fmt: skip
CARD = Use(
    "card-1mm", ("card",), "label", "desk-laser-600", "laser", thickness=1.0, settings="published"
)  # fmt: skip
FUR = Use(
    "fur-long", ("acrylic-pile",), "label", "flatbed-knife-1200", "oscillating-knife",
    thickness=1.2, cut_from="back", directed=True,
)  # fmt: skip


@pytest.fixture(scope="module")
def rules() -> Rules:
    return load_rules()


@pytest.fixture(scope="module")
def items(rules: Rules) -> tuple[Item, ...]:
    return load_checklist(rules)


def said(uses: list[Use], rules: Rules, items: tuple[Item, ...]) -> str:
    """The whole list as text, a paragraph a line of it."""
    out = []
    for stage, lines in checklist(items, uses, rules).items():
        out.append(f"== {stage}\n")
        for line in lines:
            applies = f" [{'; '.join(line.applies)}]" if line.applies else ""
            out.append(f"{line.text}{applies}\n    {line.why} ({line.source})\n")
    return "".join(out)


def test_a_sample_job_as_golden_text(rules: Rules, items: tuple[Item, ...]) -> None:
    text = said([FOAM, FELT, CARD], rules, items)
    assert text == GOLDEN.read_text(encoding="utf-8")


def test_stages_stand_in_the_order_of_the_work(rules: Rules, items: tuple[Item, ...]) -> None:
    assert tuple(checklist(items, [CARD], rules)) == STAGES
    assert all(checklist(items, [CARD], rules).values())


@pytest.mark.parametrize(
    ("use", "called", "not_called"),
    [
        (
            CARD,
            ["extinguisher", "interlock", "smouldering", "single sheet", "20 min"],
            ["blade", "gloves", "vacuum", "contact cement", "permit", "its nap", "estimates"],
        ),
        (
            FOAM,
            ["Nothing hot", "25 mm", "37.2 mm", "cover film", "contact cement", "estimates"],
            ["lid", "exhaust", "permit", "its nap", "never for a laser", "pinch"],
        ),
        (
            FELT,
            ["stabilised all over", "power off", "never for a laser", "1.3 mm"],
            ["lid", "vacuum", "contact cement", "estimates", "by hand"],
        ),
        (FUR, ["face down", "wrong side", "never for a laser", "EN 71-2"], ["face up", "lid"]),
        (replace(FUR, cut_from="front"), ["face up"], ["face down"]),
        (
            replace(CARD, composition=("eva",)),
            ["The permit for card-1mm on desk-laser-600", "very batch"],
            ["single sheet", "flame retardant"],
        ),
        (replace(CARD, composition=("polyurethane-foam",)), ["flame retardant"], ["very batch"]),
    ],
)
def test_a_use_calls_for_its_own_items(
    rules: Rules, items: tuple[Item, ...], use: Use, called: list[str], not_called: list[str]
) -> None:
    text = said([use], rules, items)
    assert [w for w in called if w not in text] == []
    assert [w for w in not_called if w in text] == []


def test_every_job_is_told_to_look_elsewhere_and_what_was_not_assessed(
    rules: Rules, items: tuple[Item, ...]
) -> None:
    for use in (CARD, FOAM, FELT, FUR):
        text = said([use], rules, items)
        assert "manual" in text
        assert "Nothing was assessed as a toy" in text
        assert f"The sheet in hand is {use.material}: {', '.join(use.composition)}" in text


def test_conditions_must_meet_in_one_use(rules: Rules, items: tuple[Item, ...]) -> None:
    """Foam on a knife and card on a laser don't make foam on a laser."""
    assert "flame retardant" not in said([FOAM, CARD], rules, items)


def test_a_line_names_whom_it_is_for_where_that_is_not_all(
    rules: Rules, items: tuple[Item, ...]
) -> None:
    lines = checklist(items, [FOAM, CARD], rules)["during"]
    assert {a for line in lines for a in line.applies} == {FOAM.where, CARD.where}
    assert not any(line.applies for line in checklist(items, [CARD], rules)["during"])


def test_nothing_is_called_safe() -> None:
    for name in (HAZARDS, CHECKLIST):
        text = (packaged_profiles() / name).read_text("utf-8").split("schema = 1")[1]
        assert not re.search(r"\b(safe|safely|harmless|non-toxic)\b", text, re.IGNORECASE)


def test_every_item_has_its_reason_in_one_line() -> None:
    data = tomllib.loads((packaged_profiles() / CHECKLIST).read_text("utf-8"))
    for item in data["item"]:
        assert item["why"].count("\n") == item["source"].count("\n") == 0
        assert len(item["why"]) <= 120


def shop(folder: Path, text: str) -> Path:
    (folder / CHECKLIST).write_text("schema = 1\n" + text, encoding="utf-8")
    return folder


ITEM = '[[item]]\nstage = "after"\ntext = "{text}"\nwhy = "w"\nsource = "s"\n'


def test_a_shop_adds_and_removes_nothing(
    tmp_path: Path, rules: Rules, items: tuple[Item, ...]
) -> None:
    more = load_checklist(rules, [shop(tmp_path, ITEM.format(text="Sweep the floor."))])
    assert more[:-1] == items
    assert more[-1].text == "Sweep the floor."


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (ITEM.format(text="$material"), 4),
        (ITEM.format(text="$cost") + "each = true\n", 4),
        (ITEM.format(text="x") + 'when = { words = ["coton"] }\n', 7),
        (ITEM.format(text="x") + 'when = { colour = "red" }\n', 7),
        (ITEM.format(text="x") + 'when = { thicker_than = "6 ells" }\n', 7),
        (ITEM.replace("after", "later").format(text="x"), 3),
    ],
)
def test_a_broken_item_is_refused_with_its_line(
    tmp_path: Path, rules: Rules, text: str, line: int
) -> None:
    with pytest.raises(Refused) as refused:
        load_checklist(rules, [shop(tmp_path, text)])
    (found,) = refused.value.findings
    assert f"{CHECKLIST} line {line} " in found.where


def test_a_thickness_condition(tmp_path: Path, rules: Rules) -> None:
    text = ITEM.format(text="Thick.") + 'when = { thicker_than = "1/2 in" }\n'
    more = load_checklist(rules, [shop(tmp_path, text)])
    assert "Thick." in said([FOAM], rules, more)
    assert "Thick." not in said([replace(FOAM, thickness=12.7)], rules, more)
