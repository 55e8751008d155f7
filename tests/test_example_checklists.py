"""The checklist of each example job, as golden text that a person has read, and on its sheet.

`FOAMWRIGHT_GOLDEN=write` writes the texts anew: each is then to be read, line by line.
"""

from __future__ import annotations

import html
import os
from pathlib import Path

import pytest

from foamwright.checklist import checklist, load_checklist
from foamwright.hazards import load_rules
from foamwright.record import Record
from foamwright.safety import uses_of

from .conftest import ExampleCut

GOLDEN = Path(__file__).parent / "golden" / "checklists"


def text_of(record: Record) -> str:
    """The list as a job's own record calls for it, an item a paragraph."""
    rules = load_rules()
    out = []
    for stage, lines in checklist(load_checklist(rules), uses_of(record), rules).items():
        out.append(f"== {stage}\n")
        for line in lines:
            applies = f" [{'; '.join(line.applies)}]" if line.applies else ""
            out.append(f"{line.text}{applies}\n    {line.why} ({line.source})\n")
    return "".join(out)


def record_of(example: ExampleCut) -> Record:
    return Record.model_validate_json((example.out / "record.json").read_bytes())


def test_it_is_the_golden_text(example: ExampleCut) -> None:
    golden = GOLDEN / f"{example.source.name}.txt"
    if os.environ.get("FOAMWRIGHT_GOLDEN") == "write":
        golden.write_text(text_of(record_of(example)), "utf-8")
    assert golden.exists(), "make it with FOAMWRIGHT_GOLDEN=write and read it"
    assert text_of(record_of(example)) == golden.read_text("utf-8"), "read it again, line by line"


def test_every_item_is_on_the_sheet_to_be_ticked_with_its_reason(example: ExampleCut) -> None:
    page = html.unescape((example.out / "operator-sheet.html").read_text("utf-8"))
    rules = load_rules()
    items = checklist(load_checklist(rules), uses_of(record_of(example)), rules)
    lines = [line for lines in items.values() for line in lines]
    assert lines
    for line in lines:
        assert line.text in page
        assert line.why[1:] in page
    section = page[page.index('id="checks"') :].partition("</section>")[0]
    assert section.count('type="checkbox"') == len(lines)
    assert section.count('class="sign"') == sum(bool(x) for x in items.values())


@pytest.mark.parametrize("golden", sorted(GOLDEN.glob("*.txt")), ids=lambda p: p.stem)
def test_no_golden_text_says_that_a_thing_is_safe(golden: Path) -> None:
    words = golden.read_text("utf-8").casefold().replace("safety", "").split()
    assert not {"safe", "safely", "harmless", "non-toxic"} & {w.strip(".,;:()") for w in words}
