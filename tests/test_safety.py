"""The hazard rules: the whole matrix, permits, what is not known, and every way round."""

from __future__ import annotations

import datetime
import itertools
import json
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.findings import Finding, Refused
from foamwright.hazards import HAZARDS, METHODS
from foamwright.job import Permit
from foamwright.model import Method
from foamwright.record import (
    ContourEntry,
    PermitEntry,
    ProfileEntry,
    Record,
    SheetEntry,
    ValueEntry,
)
from foamwright.safety import (
    Rules,
    Use,
    Verdict,
    assess,
    assess_record,
    load_rules,
    uses_of,
    verdicts,
)
from foamwright.shelf_folder import packaged_profiles

day = datetime.date.fromisoformat
TODAY = day("2026-06-01")
#: Written out by hand from the laboratories' pages, not read from the data under test.
NEVER_LASER = [
    "pvc",
    "vinyl",
    "vinyl-coating",
    "chloroprene",
    "halogenated",
    "ptfe",
    "modacrylic",
    "acrylic-pile",
    "abs",
    "polycarbonate",
    "hdpe",
    "polyethylene-foam",
    "polypropylene-foam",
    "polystyrene-foam",
    "glass-fibre",
    "epoxy-carbon",
    "chrome-leather",
    "contact-cement",
    "self-adhesive",
    "unknown-flame-retardant",
    "unknown",
]
BY_PERMIT = ["polyurethane-foam", "eva", "polyester", "nylon", "acetate", "spandex", "wool"]
WITH_CARE = ["vegetable-leather", "cotton", "linen", "cork", "paper", "card", "corrugated-card"]
KNIVES: tuple[Method, ...] = ("drag-knife", "oscillating-knife", "hand")


@pytest.fixture(scope="module")
def rules() -> Rules:
    return load_rules()


def use(*words: str, method: Method = "laser", basis: str = "data-sheet", **more: Any) -> Use:
    return Use("stuff", words, basis, "tool-600", method, **more)


def permit(**changes: Any) -> Permit:
    plain = {
        "material": "stuff",
        "machine": "tool-600",
        "issued_by": "Site safety officer",
        "reference": "RA-17",
        "date": "2026-01-10",
        "expires": "2026-12-31",
        "data_sheet": "batch 4471",
    }
    return Permit.model_validate(plain).model_copy(update=changes)


def codes(findings: tuple[Finding, ...]) -> list[str]:
    return sorted({f.code for f in findings})


def shop(folder: Path, text: str) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / HAZARDS).write_text("schema = 1\n" + text, encoding="utf-8")
    return folder


# ------------------------------------------------------------------------------------ the matrix


def test_every_word_has_its_own_packaged_rule_for_every_method(rules: Rules) -> None:
    data = tomllib.loads((packaged_profiles() / HAZARDS).read_text("utf-8"))
    ruled = {p for r in data["rule"] for p in itertools.product(r["words"], r["methods"])}
    assert ruled == set(itertools.product(rules.words, METHODS))


def test_no_pair_is_ruled_twice() -> None:
    data = tomllib.loads((packaged_profiles() / HAZARDS).read_text("utf-8"))
    pairs = [p for r in data["rule"] for p in itertools.product(r["words"], r["methods"])]
    assert len(pairs) == len(set(pairs))


@pytest.mark.parametrize(
    ("words", "verdict"),
    [(NEVER_LASER, "forbidden"), (BY_PERMIT, "permit"), (WITH_CARE, "caution")],
)
def test_laser_verdicts_are_those_of_the_sources(
    rules: Rules, words: list[str], verdict: str
) -> None:
    assert {w: rules.ruling(w, "laser").verdict.value for w in words} == dict.fromkeys(
        words, verdict
    )


def test_nothing_is_plainly_ok_on_a_laser(rules: Rules) -> None:
    assert all(rules.ruling(w, "laser").verdict is not Verdict.OK for w in rules.words)


def test_a_knife_cuts_every_known_word_with_a_caution_where_a_laser_may_not(rules: Rules) -> None:
    for word, method in itertools.product(rules.words, KNIVES):
        assert rules.ruling(word, method).verdict in (Verdict.OK, Verdict.CAUTION)
    for word in NEVER_LASER:
        assert rules.ruling(word, "oscillating-knife").verdict is Verdict.CAUTION


@pytest.mark.parametrize("word", NEVER_LASER)
def test_a_forbidden_pair_is_refused_whatever_is_tried(word: str, tmp_path: Path) -> None:
    everything_ok = (
        f'[[rule]]\nwords = ["{word}"]\nmethods = ["laser"]\nverdict = "ok"\n'
        'why = "we always did"\nsource = "us"\n'
    )
    for shelves in ([], [shop(tmp_path / "shop", everything_ok)]):
        rules = load_rules(shelves)
        for words in ((word,), ("cotton", word), (word, "card", "polyester")):
            for basis, permits in itertools.product(
                ("data-sheet", "label", "guess"), ([], [permit()], [permit(expires=None)])
            ):
                found = assess([use(*words, basis=basis)], permits, rules, TODAY)
                assert "S001" in [f.code for f in found if f.is_fault]


# ------------------------------------------------------------------------------------ not known


def test_a_guess_is_never_laser_cut_and_a_knife_may(rules: Rules) -> None:
    assert codes(assess([use("cotton", basis="guess")], [permit()], rules, TODAY)) == [
        "S001",
        "S004",
    ]
    assert assess([use("cotton", basis="guess", method="drag-knife")], [], rules, TODAY) == ()


@pytest.mark.parametrize("basis", ["", "hearsay", "Label", "measured"])
def test_only_label_and_data_sheet_are_a_basis(rules: Rules, basis: str) -> None:
    assert "S001" in codes(assess([use("card", basis=basis)], [], rules, TODAY))


def test_a_word_on_no_list_is_forbidden_on_a_laser_and_names_its_neighbour(rules: Rules) -> None:
    (found,) = assess([use("coton")], [permit()], rules, TODAY)
    assert (found.code, found.is_fault, found.mend) == ("S001", True, "did you mean cotton")
    (found,) = assess([use("coton", method="drag-knife")], [], rules, TODAY)
    assert (found.code, found.is_fault) == ("S004", False)


def test_no_words_at_all_is_unknown(rules: Rules) -> None:
    assert "S001" in codes(assess([use()], [permit()], rules, TODAY))


def test_a_blend_is_as_bad_as_its_worst_word(rules: Rules) -> None:
    found = verdicts(use("cotton", "polyester", "vinyl-coating"), rules)
    assert [r.word for r in found] == ["vinyl-coating", "polyester", "cotton"]
    assert [r.verdict.value for r in found] == ["forbidden", "permit", "caution"]


# ------------------------------------------------------------------------------------ permits


def test_a_permit_lets_its_material_on_its_machine(rules: Rules) -> None:
    (found,) = assess([use("polyurethane-foam")], [permit()], rules, TODAY)
    assert (found.code, found.severity.value) == ("S005", "note")
    assert "RA-17" in found.what
    assert "Site safety officer" in found.what


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"material": "other"}, "S002"),
        ({"machine": "tool-6000"}, "S002"),
        ({"machine": "TOOL-600"}, "S002"),
        ({"expires": day("2026-05-31")}, "S003"),
        ({"date": day("2026-06-02")}, "S003"),
        ({"reference": " "}, "S003"),
        ({"issued_by": ""}, "S003"),
        ({"expires": day("2026-06-01")}, "S005"),
        ({"date": day("2026-06-01")}, "S005"),
        ({"data_sheet": None}, "S005"),
    ],
)
def test_when_a_permit_counts(rules: Rules, changes: dict[str, Any], code: str) -> None:
    (found,) = assess([use("polyurethane-foam")], [permit(**changes)], rules, TODAY)
    assert (found.code, found.is_fault) == (code, code != "S005")


def test_one_permit_that_counts_is_enough_among_old_ones(rules: Rules) -> None:
    permits = [permit(expires=day("2026-02-01")), permit(reference="RA-18")]
    (found,) = assess([use("wool")], permits, rules, TODAY)
    assert found.code == "S005"
    assert "RA-18" in found.what


def test_eva_wants_the_batch_named(rules: Rules) -> None:
    for sheet, code in ((None, "S003"), ("  ", "S003"), ("batch 4471", "S005")):
        (found,) = assess([use("eva")], [permit(data_sheet=sheet)], rules, TODAY)
        assert found.code == code
    (found,) = assess([use("eva")], [], rules, TODAY)
    assert "data_sheet" in found.mend


# ------------------------------------------------------------------------------------ shelves


def rule(word: str, method: str, verdict: str, **more: str) -> str:
    lines = {"words": f'["{word}"]', "methods": f'["{method}"]', "verdict": f'"{verdict}"'}
    lines |= {"why": '"house rule"', "source": '"house"'} | more
    return "[[rule]]\n" + "".join(f"{k} = {v}\n" for k, v in lines.items())


def test_a_shop_adds_strictness(tmp_path: Path) -> None:
    text = rule("cotton", "laser", "forbidden") + rule(
        "wool", "laser", "permit", needs='["data-sheet"]'
    )
    rules = load_rules([shop(tmp_path, text)])
    assert rules.ruling("cotton", "laser").why == "house rule"
    assert codes(assess([use("cotton")], [permit()], rules, TODAY)) == ["S001"]
    assert codes(assess([use("wool")], [permit(data_sheet=None)], rules, TODAY)) == ["S003"]


def test_a_shops_own_word_is_for_knives_only(tmp_path: Path) -> None:
    text = '[[word]]\nword = "moon-cloth"\nmeans = "ours"\n'
    text += rule("moon-cloth", "laser", "ok") + rule("moon-cloth", "drag-knife", "ok")
    rules = load_rules([shop(tmp_path, text)])
    assert rules.ruling("moon-cloth", "laser").verdict is Verdict.FORBIDDEN
    assert rules.ruling("moon-cloth", "drag-knife").verdict is Verdict.CAUTION
    assert rules.ruling("moon-cloth", "oscillating-knife").verdict is Verdict.CAUTION


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.lists(
        st.tuples(
            st.sampled_from([*NEVER_LASER, *BY_PERMIT, *WITH_CARE]),
            st.sampled_from(METHODS),
            st.sampled_from(list(Verdict)),
        ),
        max_size=12,
    )
)
def test_no_shop_ever_loosens(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[str, Method, Verdict]]
) -> None:
    folder = tmp_path_factory.mktemp("shop")
    ours = load_rules([shop(folder, "".join(rule(w, m, v.value) for w, m, v in rows))])
    packaged = load_rules()
    for pair in itertools.product(packaged.words, METHODS):
        asked = [v.rank for w, m, v in rows if (w, m) == pair]
        assert ours.ruling(*pair).verdict.rank == max([packaged.ruling(*pair).verdict.rank, *asked])


def test_a_broken_file_is_refused_with_all_its_lines(tmp_path: Path) -> None:
    text = (
        rule("cotton", "laser", "allowed")
        + rule("card", "lazer", "ok")
        + rule("cork", "laser", "ok", lifts="true")
    )
    folder = shop(tmp_path / "a", text)
    (tmp_path / "b").mkdir()
    with pytest.raises(Refused) as refused:
        load_rules([folder, shop(tmp_path / "b", "[[rul]]\n")])
    at = [f.where.removeprefix(str(tmp_path)) for f in refused.value.findings]
    assert [w.split(" [[")[0] for w in at] == [
        f"/a/{HAZARDS} line 5",
        f"/a/{HAZARDS} line 10",
        f"/a/{HAZARDS} line 20",
        f"/b/{HAZARDS} line 2 rul",
    ]


def test_a_rule_about_a_word_on_no_list_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refused) as refused:
        load_rules([shop(tmp_path, rule("coton", "laser", "forbidden"))])
    (found,) = refused.value.findings
    assert (found.code, found.mend) == ("S008", "did you mean cotton")
    assert f"{HAZARDS} line 3" in found.where


@pytest.mark.parametrize("content", [b"schema = [", b"\xff\xfe", b"", b"schema = 2\n"])
def test_what_is_no_hazards_file_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / HAZARDS).write_bytes(content)
    with pytest.raises(Refused, match=HAZARDS):
        load_rules([tmp_path])


def test_a_hazards_file_that_leads_nowhere_is_refused(tmp_path: Path) -> None:
    (tmp_path / HAZARDS).symlink_to(tmp_path / "gone.toml")
    with pytest.raises(Refused, match="no such file"):
        load_rules([tmp_path])


def test_the_packaged_shelf_may_be_named_too(rules: Rules) -> None:
    assert load_rules([packaged_profiles()]).rulings == rules.rulings


# ------------------------------------------------------------------------------------ loosening


@pytest.fixture(scope="module")
def with_shelf(rules: Rules) -> Rules:
    return replace(
        rules,
        compositions={"coated-cloth": frozenset({"cotton", "vinyl-coating"})},
        machines={"desk-laser": "laser"},
    )


def test_a_packaged_composition_can_only_grow(with_shelf: Rules) -> None:
    plain = use("cotton", method="drag-knife")
    for shorn in (
        replace(plain, material="coated-cloth"),
        replace(plain, lineage=("mid", "coated-cloth")),
    ):
        found = assess([shorn], [], with_shelf, TODAY)
        assert [(f.code, f.is_fault) for f in found] == [("S006", True)]
        assert "vinyl-coating" in found[0].what
    grown = replace(plain, material="coated-cloth", composition=("wool", "vinyl-coating", "cotton"))
    assert "S006" not in codes(assess([grown], [], with_shelf, TODAY))


def test_a_packaged_machine_keeps_its_method(with_shelf: Rules) -> None:
    posing = replace(use("pvc", method="drag-knife"), machine="desk-laser")
    assert "S006" in [f.code for f in assess([posing], [], with_shelf, TODAY) if f.is_fault]


def test_packaged_materials_use_listed_words_only(rules: Rules) -> None:
    for material, words in rules.compositions.items():
        assert words, material
        assert words <= set(rules.words), material


# ------------------------------------------------------------------------------------ the record


def record(method: str = "laser", machine_method: str | None = "laser", **values: Any) -> Record:
    """A record of one file; values: of the material's profile."""
    material = {"composition": ["cotton"], "composition_basis": "label"} | values

    def entry(kind: Any, name: str, pairs: dict[str, Any]) -> ProfileEntry:
        origin = f"package:{kind}s/{name}.toml"
        told = [ValueEntry(key=k, value=v, origin=origin) for k, v in pairs.items()]
        return ProfileEntry(kind=kind, id=name, values=tuple(told))

    machine = {} if machine_method is None else {"method": machine_method}
    pair = {"material": "stuff", "machine": "tool-600"}
    sheet = SheetEntry(
        number=1, **pair, width=100, length=100, thickness=1, usable=(0, 0, 100, 100),
        density=0.5, used_length_mm=100, time_s=1,
    )  # fmt: skip
    file = {
        "name": "a.dxf", "sheet": 1, **pair, "format": "dxf", "version": "r12", "unit": "mm",
        "scale": 1, "origin": (0, 0), "layers": {}, "tool": {"method": method}, "contours": (),
        "sha256": "",
    }  # fmt: skip
    profiles = (entry("material", "stuff", material), entry("machine", "tool-600", machine))
    return Record.model_validate(
        {
            "version": "0", "job": "j", "profiles": profiles, "sheets": (sheet,), "pieces": (),
            "files": (file,), "layout": {}, "time_s": 1,
        }
    )  # fmt: skip


def test_a_record_is_judged_as_its_plan(rules: Rules) -> None:
    for words in (["cotton"], ["pvc"], ["polyurethane-foam"], ["coton"]):
        read_back = Record.model_validate(json.loads(record(composition=words).to_text()))
        planned = assess([use(*words, basis="label")], [], rules, TODAY)
        assert assess_record(read_back, rules, TODAY) == planned
        assert planned


@pytest.mark.parametrize(
    ("method", "machine_method"),
    [("drag-knife", "laser"), ("laser", "drag-knife"), ("laser", None), ("Laser", "laser")],
)
def test_a_method_changed_in_one_place_hides_nothing(
    rules: Rules, method: str, machine_method: str | None
) -> None:
    posing = record(method, machine_method, composition=["pvc"])
    assert "S001" in codes(assess_record(posing, rules, TODAY))


def test_a_method_without_rules_is_a_fault(rules: Rules) -> None:
    for posing in (record("scissors", None), record("scissors", "scissors")):
        assert "S007" in codes(assess_record(posing, rules, TODAY))


@pytest.mark.parametrize(
    "values",
    [
        {"composition": None},
        {"composition": []},
        {"composition_basis": "guess"},
        {"composition_basis": None},
    ],
)
def test_what_a_record_does_not_tell_is_not_laser_cut(rules: Rules, values: dict[str, Any]) -> None:
    assert "S001" in codes(assess_record(record(**values), rules, TODAY))


@pytest.mark.parametrize("key", ["thickness", "backing"])
@pytest.mark.parametrize("value", ["lots", -1.0, 0, True, [1.0]])
def test_a_records_thickness_that_is_none_is_a_fault(rules: Rules, key: str, value: Any) -> None:
    assert "S007" in codes(assess_record(record(**{key: value}), rules, TODAY))
    assert "S007" not in codes(assess_record(record(**{key: 1.5}), rules, TODAY))


def test_a_record_without_the_materials_profile_is_refused(rules: Rules) -> None:
    bare = record().model_copy(update={"profiles": ()})
    assert "S001" in codes(assess_record(bare, rules, TODAY))


def test_a_sheet_without_a_file_is_judged_too(rules: Rules) -> None:
    fileless = record(composition=["pvc"]).model_copy(update={"files": ()})
    assert "S001" in codes(assess_record(fileless, rules, TODAY))


def test_a_records_permit_is_looked_at_again(rules: Rules) -> None:
    entry = PermitEntry.model_validate(permit().model_dump(mode="json"))
    foam = record(composition=["polyurethane-foam"])
    for changes, code in (
        ({}, "S005"),
        ({"expires": "2026-05-01"}, "S003"),
        ({"machine": "another"}, "S002"),
    ):
        told = foam.model_copy(update={"permits": (entry.model_copy(update=changes),)})
        assert codes(assess_record(told, rules, TODAY)) == [code]
    nonsense = entry.model_copy(update={"date": "yesterday"})
    told = foam.model_copy(update={"permits": (nonsense,)})
    assert codes(assess_record(told, rules, TODAY)) == ["S002", "S007"]


def test_a_shorn_packaged_material_is_found_in_the_record(with_shelf: Rules) -> None:
    for told in (record(lineage=["Coated-Cloth"]), record(based_on="coated-cloth")):
        assert "S006" in codes(assess_record(told, with_shelf, TODAY))


def test_of_two_entries_for_a_material_the_worst_counts(rules: Rules) -> None:
    plain, coated = record(), record(composition=["vinyl-coating"])
    guessed = record(composition_basis="guess")
    for first, second in itertools.permutations((plain, coated, guessed), 2):
        both = first.model_copy(update={"profiles": (*first.profiles, *second.profiles)})
        assert "S001" in codes(assess_record(both, rules, TODAY))


def test_a_use_bears_what_the_checklist_asks_about() -> None:
    values = {"cut.method": "laser", "cut.basis": "measured", "hold": ["carrier"], "nap": "one-way"}
    told = record(thickness=3.0, backing=2.0, cut_from="back", **values)
    left = {"copy_name": "a", "contour": "outline", "operation": "CUT_OUTER", "left": 1.5}
    file = told.files[0].model_copy(update={"contours": (ContourEntry(**left),) * 2})
    svg = file.model_copy(update={"format": "svg"})
    (found,) = uses_of(told.model_copy(update={"files": (file, svg)}))
    assert (found.thickness, found.hold, found.cut_from) == (2.0, ("carrier",), "back")
    assert (found.settings, found.left, found.directed) == ("measured", 3.0, True)
