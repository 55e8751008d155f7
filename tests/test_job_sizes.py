"""One pattern at several sizes, through the whole chain up to the programs."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from foamwright import pipeline
from foamwright.errors import CommandError
from foamwright.findings import Refused
from tests.jobs import job

SIZES = """
[piece.allowance]
default = 3
[piece.edges]
rim = ["1", "2"]
[[size]]
name = "child"
scale = 0.5
[[size]]
name = "adult"
fit = { edge = "plate.rim", length = 20 }
"""


def placed(request: pipeline.Request) -> dict[str, float]:
    """Outline's extent of each copy that is laid."""
    planned = pipeline.plan(request)
    made = {}
    for _, program in planned.programs:
        for p in program.sheet.placements:
            low_x, _, high_x, _ = p.copy.piece.outline.bounds
            made[p.copy.name] = high_x - low_x
    return made


def test_every_piece_is_cut_at_every_size_with_the_size_in_its_name(tmp_path: Path) -> None:
    written = job(tmp_path, more=SIZES)
    found = placed(written.request)
    # the plate is 60 mm wide as cut, 54 mm on its stitch line; its rim is 36 mm, and so 30 mm
    assert found == pytest.approx({"plate-child/drawn/1": 33.0, "plate-adult/drawn/1": 42.0})


def test_only_takes_a_piece_at_all_sizes_or_at_one(tmp_path: Path) -> None:
    request = job(tmp_path, more=SIZES).request
    assert len(placed(replace(request, only=("plate",)))) == 2
    assert set(placed(replace(request, only=("plate-child/drawn/1",)))) == {"plate-child/drawn/1"}
    assert set(placed(replace(request, only=("plate/drawn/1",)))) == {
        "plate-child/drawn/1",
        "plate-adult/drawn/1",
    }
    with pytest.raises(CommandError, match="plate-adult"):
        pipeline.plan(replace(request, only=("plate-teen",)))


def test_seams_are_measured_at_each_size(tmp_path: Path) -> None:
    seam = '[[seam]]\nname = "s"\njoins = ["plate.rim", "plate.rim"]\n'
    rows = pipeline.plan(job(tmp_path, more=SIZES + seam).request).checks.seams
    assert {r.name: r.lengths[0] for r in rows} == pytest.approx({"s-child": 15.0, "s-adult": 20.0})


def test_a_fit_s_piece_is_read_although_another_is_wanted(tmp_path: Path) -> None:
    other = '[[piece]]\nname = "b"\noutline = "plate.svg#plate"\nmaterial = "card-1mm"\n'
    written = job(tmp_path, more=other, head='fit = { piece = "plate", width = 30 }')
    assert placed(replace(written.request, only=("b",))) == pytest.approx({"b/drawn/1": 30.0})


@pytest.mark.parametrize(
    ("head", "more", "code", "said"),
    [
        ("scale = 2", '[[size]]\nname = "a"\n', "J509", "leave it out"),
        ("", '[[size]]\nname = "a"\n[[size]]\nname = "A"\n', "J507", "size"),
        ("", '[[size]]\nname = "a/b"\n', "J505", "slash"),
        ("", '[[size]]\nname = "a"\nscal = 2\n', "J503", "did you mean scale"),
        ("", "[[size]]\nscale = 2\n", "J504", "required"),
        (
            "",
            '[[piece]]\nname = "plate-a"\noutline = "plate.svg#plate"\nmaterial = "card-1mm"\n'
            '[[size]]\nname = "b"\n[[size]]\nname = "a-b"\n',
            "J507",
            "two pieces of different sizes",
        ),
    ],
)
def test_sizes_that_can_t_be_are_refused(
    tmp_path: Path, head: str, more: str, code: str, said: str
) -> None:
    with pytest.raises(Refused) as e:
        pipeline.plan(job(tmp_path, head=head, more=more).request)
    assert any(f.code == code and said in f.line() for f in e.value.findings), str(e.value)


def test_a_seam_s_notches_reach_both_pieces_also_where_one_is_wanted(tmp_path: Path) -> None:
    other = (
        '[[piece]]\nname = "b"\noutline = "plate.svg#plate"\nmaterial = "card-1mm"\n'
        "[piece.allowance]\ndefault = 3\n[piece.edges]\nside = ['1', '2']\n"
        '[[seam]]\nname = "s"\njoins = ["plate.rim", "b.side"]\nease = 6\n'
        '[[seam.notch]]\nat = "50 %"\nshape = "slit"\ndepth = 2\n'
    )
    rim = "[piece.allowance]\ndefault = 3\n[piece.edges]\nrim = ['1', '2']\n"
    request = job(tmp_path, more=rim + other).request
    for only in ((), ("b",), ("plate",)):
        planned = pipeline.plan(replace(request, only=only))
        slits = [
            len(p.copy.piece.slits) + len(p.copy.piece.marks)
            for _, program in planned.programs
            for p in program.sheet.placements
        ]
        assert slits == [1] * (1 if only else 2)
