"""Job files: what parses, and what is refused with its line, key and mend, all at once."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foamwright.findings import Refused
from foamwright.job import Job, Notch, Station, job_for_drawing, load_job

CONTRACT = """\
[job]
name    = "Heron legs"
units   = "in"              # for bare numbers
machine = "roll-drag-knife-600"
scale   = 1.0

[[piece]]
name     = "sole"
outline  = "heron.svg#sole"
drawn    = "stitch-line"
material = "pu-foam-25mm"
machine  = "flatbed-knife-1200"
count    = 1
mirrored = 1
fixed    = ["rod-hole"]

[piece.allowance]
default = "6 mm"

[piece.edges]
heel  = ["7", "9"]
inner = ["toe", "heel-end"]

[[piece.notch]]
edge  = "inner"
at    = "2 in"
shape = "v"
depth = "4 mm"

[[piece.relief]]
edge  = "inner"
at    = "3 in"
depth = "1 in"
width = "1 in"

[[piece.mark]]
shape = "cross"
at    = ["1 in", "2 in"]
keep  = "8 mm"

[[piece]]
name     = "leg"
outline  = "heron.svg#leg"
material = "fleece-2mm"

[[seam]]
name  = "ankle"
joins = ["leg.bottom", "sole.opening"]
ease  = "0 mm"
flat  = true

[[permit]]
material  = "pu-foam-12mm"
machine   = "desk-laser-600"
issued_by = "Site safety officer"
reference = "RA-17"
date      = 2026-11-02
expires   = 2027-11-01

[[stock]]
material = "pu-foam-25mm"
width    = "1000 mm"
length   = "2000 mm"
count    = 2
"""
HEAD = '[job]\nname = "j"\nmachine = "m"\n'
PIECE = '[[piece]]\nname = "a"\noutline = "d.svg#a"\nmaterial = "felt"\n'
SEAM = '[[seam]]\nname = "s"\njoins = ["a.b", "a.c"]\n'


def _load(folder: Path, text: str) -> Job:
    file = folder / "job.toml"
    file.write_text(text, encoding="utf-8")
    return load_job(file)


def _refused(folder: Path, text: str) -> list[str]:
    with pytest.raises(Refused) as e:
        _load(folder, text)
    assert all("\n" not in f.line() for f in e.value.findings)
    return [f"{f.code} {f.where}: {f.what}; {f.mend}" for f in e.value.findings]


def test_every_key_of_the_contract(tmp_path: Path) -> None:
    job = _load(tmp_path, CONTRACT)
    sole, leg = job.piece
    assert (sole.count, sole.mirrored, sole.fixed) == (1, 1, ("rod-hole",))
    assert sole.allowance == {"default": 6.0}
    assert sole.edges == {"heel": ("7", "9"), "inner": ("toe", "heel-end")}
    assert sole.notch == (Notch(edge="inner", at=Station(mm=50.8), shape="v", depth=4.0),)
    assert sole.relief[0].depth == 25.4
    assert sole.relief[0].at.mm == pytest.approx(76.2)
    assert (sole.mark[0].at, sole.mark[0].keep) == ((25.4, 50.8), 8.0)
    assert (leg.drawn, leg.count, leg.mirrored, leg.machine) == ("stitch-line", 1, 0, None)
    assert job.permit[0].expires == datetime.date(2027, 11, 1)
    assert (job.stock[0].width, job.stock[0].count) == (1000.0, 2)
    assert job.seam[0].flat


def test_bare_numbers_take_the_jobs_units_wherever_they_stand(tmp_path: Path) -> None:
    text = '[[stock]]\nmaterial = "felt"\nwidth = 10\nlength = "20"\n'
    text += PIECE + "[[piece.mark]]\nat = [1, -2]\n[piece.allowance]\ndefault = 0.25\n"
    text += '[job]\nname = "j"\nmachine = "m"\nunits = "in"\nunreached_max = 0.01\n'
    job = _load(tmp_path, text)
    assert (job.stock[0].width, job.stock[0].length) == (254.0, 508.0)
    assert job.piece[0].mark[0].at == (25.4, -50.8)
    assert job.piece[0].allowance["default"] == pytest.approx(6.35)
    assert job.job.unreached_max == pytest.approx(0.254)


def test_a_station_is_a_length_or_a_share(tmp_path: Path) -> None:
    notch = '[piece.edges]\ne = [1, 2]\n[[piece.notch]]\nedge = "e"\nat = {}\n'
    half = _load(tmp_path, HEAD + PIECE + notch.format('"50 %"')).piece[0].notch[0].at
    assert half is not None
    assert half.along(30.0) == 15.0
    for wrong in ('"101 %"', '"-1 mm"', '"x %"', "true", "[1]", '"nan %"'):
        (line,) = _refused(tmp_path, HEAD + PIECE + notch.format(wrong))
        assert line.startswith("J505 job.toml line 12 [[piece]] a.notch 1.at: ")


def test_all_faults_come_at_once_in_the_files_order(tmp_path: Path) -> None:
    text = CONTRACT.replace('fixed    = ["rod-hole"]', 'allowanc = "6 mm"')
    text = text.replace('depth = "4 mm"', 'depth = "0 mm"').replace(
        'edge  = "inner"', 'edge = "iner"'
    )
    text = text.replace('issued_by = "Site safety officer"\n', "").replace(
        "2027-11-01", "2025-11-01"
    )
    text = text.replace('joins = ["leg.', 'joins = ["lge.').replace('"1000 mm"', "nan")
    text = text.replace("mirrored = 1", "mirrored = -1")
    lines = _refused(tmp_path, text)
    assert [x.split(": ")[0] for x in lines] == [
        "J505 job.toml line 14 [[piece]] sole.mirrored",
        "J503 job.toml line 15 [[piece]] sole.allowanc",
        "J508 job.toml line 25 [[piece]] sole.notch 1.edge",
        "J505 job.toml line 28 [[piece]] sole.notch 1.depth",
        "J508 job.toml line 31 [[piece]] sole.relief 1.edge",
        "J508 job.toml line 48 [[seam]] ankle.joins 1",
        "J504 job.toml line 52 [[permit]] 1.issued_by",
        "J509 job.toml line 57 [[permit]] 1.expires",
        "J505 job.toml line 61 [[stock]] 1.width",
    ]
    assert "unknown key; did you mean allowance" in lines[1]
    assert "did you mean inner" in lines[2]
    assert "did you mean leg" in lines[5]


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        ("", "J504", "[[piece]]"),
        (HEAD, "J504", "add [[piece]]"),
        (HEAD + '[piece]\nname = "a"\n', "J505", "write it as [[piece]]"),
        (HEAD + PIECE.replace('#a"', '"'), "J505", "heron.svg#sole"),
        (HEAD + PIECE.replace('"a"', '"a/b"'), "J505", "slash"),
        (HEAD + PIECE.replace('"a"', '" "'), "J505", "empty"),
        (HEAD + PIECE.replace('"a"', r'"a\nb"'), "J505", "control characters"),
        (HEAD + PIECE + PIECE, "J507", "used twice"),
        (HEAD + PIECE + PIECE.replace('"a"', '"A"'), "J507", "too like a"),
        (HEAD + PIECE.replace('"a"', '"ä"') + PIECE, "J507", "too like ä"),
        (HEAD + PIECE + "count = 0\n", "J509", "no copy"),
        (HEAD + PIECE + "count = 1.5\n", "J505", "must be"),
        (HEAD + PIECE + "count = true\n", "J505", "must be"),
        (HEAD + PIECE + 'drawn = "stich-line"\n', "J505", "did you mean stitch-line"),
        (HEAD + PIECE + '[piece.corners]\nheel = "fould"\n', "J505", "did you mean fold"),
        (HEAD + 'fit = { piece = "aa", length = 5 }\n' + PIECE, "J508", "did you mean a"),
        (HEAD + "fit = { length = 5 }\n" + PIECE, "J509", "of a piece or of an edge"),
        (HEAD + 'fit = { piece = "a" }\n' + PIECE, "J509", "give length"),
        (HEAD + 'scale = 2\nfit = { piece = "a", length = 5 }\n' + PIECE, "J509", "beside fit"),
        (HEAD + 'fit = { edge = "a.b", width = 5 }\n' + PIECE, "J509", "no width"),
        (HEAD + 'fit = { edge = "a", length = 5 }\n' + PIECE, "J505", "piece.edge"),
        (HEAD + PIECE + 'half = ["1"]\n', "J505", "two corners or points"),
        (HEAD + PIECE + 'half = "f"\neven = "f"\n', "J509", "even already"),
        (
            HEAD + PIECE + '[[piece.carry]]\nedge = "e"\nfrom = "b.c"\n',
            "J508",
            "no piece is named b",
        ),
        (HEAD + PIECE + '[[piece.carry]]\nedge = "e"\nfron = "a.c"\n', "J503", "did you mean from"),
        (HEAD + "scale_acros = 2\n" + PIECE, "J503", "did you mean scale_across"),
        (HEAD + PIECE + "at_least = { hand = 0 }\n", "J505", "more than nought"),
        (HEAD + PIECE + '[piece.edges]\ne = ["1"]\n', "J504", "required"),
        (HEAD + PIECE + '[[piece.spread]]\nslit = ["1", "2"]\n', "J509", "how far"),
        (
            HEAD + PIECE + '[[piece.spread]]\nslit = "s"\nangle = 5\ngap = 2\n',
            "J509",
            "angle and gap",
        ),
        (HEAD + PIECE + '[[piece.spread]]\nslit = "s"\nedge = "e"\n', "J509", "give both"),
        (HEAD + PIECE + '[[piece.spread]]\nslit = "s"\nangel = 5\n', "J503", "mean angle"),
        (HEAD + PIECE + SEAM + '[[seam.true]]\nedge = "a.b"\nkeep = "end"\n', "J505", "mean ends"),
        (
            HEAD + PIECE + SEAM + '[[seam.true]]\nedge = "a.b"\nkeep = "ends"\nlength = 5\n',
            "J509",
            "keep one of the two",
        ),
        (
            HEAD + PIECE + PIECE.replace('"a"', '"b"') + SEAM + '[[seam.true]]\nedge = "b.b"\n',
            "J509",
            "no part in the seam",
        ),
        (HEAD + PIECE + SEAM + '[[seam.true]]\nedge = "aa.b"\n', "J508", "did you mean a"),
        (
            HEAD
            + PIECE
            + '[piece.edges]\ne = [1, 2]\n[[piece.dart]]\nedge = "e"\nat = 1\nwidth = 2\n',
            "J509",
            "depth, or the point",
        ),
        (
            HEAD + PIECE + '[[piece.dart]]\nedge = "e"\nat = 1\nwidth = 2\ndepth = 3\n',
            "J508",
            "no edge is named e",
        ),
        (HEAD + PIECE + '[[piece.notch]]\nat = "1 mm"\n', "J509", "at without an edge"),
        (HEAD + PIECE + "[[piece.notch]]\ndepth = 3\n", "J509", "where the notch is"),
        (HEAD + PIECE + '[[piece.notch]]\nat = 1\npoint = "p"\n', "J509", "one of the two"),
        (HEAD + PIECE + '[[piece.notch]]\npoint = "p"\nshape = "w"\n', "J505", "not 'w'"),
        (HEAD + PIECE + '[[piece.mark]]\nat = [1, 2]\npoint = "p"\n', "J509", "one of the two"),
        (HEAD + PIECE + '[[piece.mark]]\nshape = "dot"\n', "J509", "where the mark is"),
        (HEAD + PIECE + "[[piece.mark]]\nat = [1, 2]\nto = [3, 4]\n", "J509", "only a line"),
        (HEAD + PIECE + "[[piece.mark]]\nat = [1]\n", "J504", "required"),
        (HEAD + PIECE + "[[piece.mark]]\nat = [inf, 1]\n", "J505", "finite"),
        (HEAD + PIECE + '[[piece.mark]]\nat = ["1 mile", 1]\n', "J505", "unknown unit 'mile'"),
        (HEAD + PIECE + '[[seam]]\nname = "s"\njoins = ["a", "a.b"]\n', "J505", "piece.edge"),
        (HEAD + PIECE + '[[stock]]\nmaterial = "felt"\nwidth = 0\nlength = 1\n', "J505", "nought"),
        (HEAD + "scale = 0\n" + PIECE, "J505", "0.001"),
        (HEAD + "scale = nan\n" + PIECE, "J505", "finite"),
        (HEAD + 'scale = "2"\n' + PIECE, "J505", "number"),
        (HEAD + 'units = "ell"\n' + PIECE, "J505", "unknown unit 'ell'"),
        (HEAD + "units = 3\n" + PIECE, "J505", "text in quotes"),
        ("schema = 2\n" + HEAD + PIECE, "J505", "must be 1"),
        ("scheme = 1\n" + HEAD + PIECE, "J503", "did you mean schema"),
        ('[job]\nname = "j"\n' + PIECE, "J504", "no machine"),
        ('job = "x"\n' + PIECE + 'machine = "m"\n', "J505", "job"),
    ],
)
def test_each_slip_has_its_code_and_its_mend(
    tmp_path: Path, text: str, code: str, said: str
) -> None:
    lines = _refused(tmp_path, text)
    assert any(x.startswith(code) and said in x for x in lines), lines


def test_a_permits_date_is_a_date(tmp_path: Path) -> None:
    permit = '[[permit]]\nmaterial = "felt"\nmachine = "m"\nissued_by = "o"\nreference = "r"\n'
    assert _load(tmp_path, HEAD + PIECE + permit + "date = 2026-01-31\n").permit[0].date == (
        datetime.date(2026, 1, 31)
    )
    for wrong in ("20260131", "true", '"today"', "07:00:00", "2026-01-31T08:00:00", "[1]"):
        (line,) = _refused(tmp_path, HEAD + PIECE + permit + f"date = {wrong}\n")
        said = "J505 job.toml line 13 [[permit]] 1.date: must be a date such as 2026-11-02"
        assert line.startswith(said)


def test_a_seam_s_ease_is_not_negative(tmp_path: Path) -> None:
    """It would match no pair of edges: which of the two is longer is not asked."""
    seam = '[[seam]]\nname = "s"\njoins = ["a.x", "a.y"]\nease = -3\n'
    (line,) = _refused(tmp_path, HEAD + PIECE + seam)
    assert line.startswith("J505")
    assert "must not be negative" in line


def test_one_bad_piece_does_not_hide_the_others_faults(tmp_path: Path) -> None:
    first = PIECE + "count = -1\n"
    second = (
        PIECE.replace('"a"', '"b"') + '[[piece.relief]]\nedge = "e"\nat = 0\ndepth = 1\nwidth = 1\n'
    )
    lines = _refused(tmp_path, HEAD + first + second)
    assert [x[:4] for x in lines] == ["J505", "J508"]


@pytest.mark.parametrize(
    ("raw", "code", "where"),
    [
        (b"[job\nname = 1\n", "J502", "job.toml line 1"),
        (b'[job]\nname = "a\n', "J502", "job.toml line 2"),
        (b"[job]\nname = 1\nname = 2\n", "J502", "job.toml line 3"),
        (b"x = " + b"[" * 5000 + b"]" * 5000, "J502", "job.toml"),
        (b"x = 1" + b"0" * 5000, "J502", "job.toml line 1"),
        (b'[job]\nname = "\xff"\n', "J501", "job.toml"),
        (b"# " + b"x" * 8_000_001, "J501", "job.toml"),
    ],
)
def test_what_is_no_toml_is_told_in_one_line(
    tmp_path: Path, raw: bytes, code: str, where: str
) -> None:
    file = tmp_path / "job.toml"
    file.write_bytes(raw)
    with pytest.raises(Refused) as e:
        load_job(file)
    (finding,) = e.value.findings
    assert (finding.code, finding.where) == (code, where)
    assert str(tmp_path) not in finding.line()


def test_a_file_that_is_not_there_and_a_folder(tmp_path: Path) -> None:
    for file in (tmp_path / "none.toml", tmp_path, tmp_path / "a\0b"):
        with pytest.raises(Refused) as e:
            load_job(file)
        assert [f.code for f in e.value.findings] == ["J501"]


def test_a_text_mark_at_the_head_does_no_harm(tmp_path: Path) -> None:
    assert _load(tmp_path, "\ufeff" + HEAD + PIECE).job.name == "j"


def test_control_characters_of_a_name_do_not_reach_the_message(tmp_path: Path) -> None:
    (line,) = _refused(tmp_path, HEAD + PIECE + '"\\u001b[31m" = 1\n')
    assert "\x1b" not in line


def test_a_drawing_with_options_makes_the_same_kind_of_job() -> None:
    job = job_for_drawing(
        Path("some/where/fish.svg"), "felt", "plotter", ["body", "fin"], scale=2.0, mirrored=1
    )
    assert (job.job.name, job.job.machine, job.job.scale) == ("fish", "plotter", 2.0)
    assert [(p.name, p.outline, p.material) for p in job.piece] == [
        ("body", "fish.svg#body", "felt"),
        ("fin", "fish.svg#fin", "felt"),
    ]
    assert all((p.drawn, p.count, p.mirrored) == ("cut-line", 1, 1) for p in job.piece)


def test_pieces_of_a_drawing_get_names_that_a_job_can_bear() -> None:
    job = job_for_drawing(Path("f.svg"), "felt", "m", ["a/b", "A-B", "v1.2"])
    assert [p.name for p in job.piece] == ["a-b", "A-B-2", "v1-2"]
    assert [p.outline for p in job.piece] == ["f.svg#a/b", "f.svg#A-B", "f.svg#v1.2"]


def test_a_drawing_with_wrong_options_is_refused() -> None:
    with pytest.raises(Refused) as e:
        job_for_drawing(Path("f.svg"), "felt", "m", ["a"], scale=0.0)
    assert "scale" in e.value.findings[0].where


WORDS = ["job", "piece", "name", "at", "units", "allowance", "notch", "seam", "joins", "edges", "x"]
VALUES = st.recursive(
    st.one_of(
        st.integers(),
        st.booleans(),
        st.floats(),
        st.text(st.characters(codec="ascii", exclude_categories=["Cc"]), max_size=6),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.sampled_from(WORDS), inner, max_size=4)
    ),
    max_leaves=12,
)


@settings(derandomize=True, deadline=None, max_examples=150)
@given(st.dictionaries(st.sampled_from([*WORDS, "stock", "permit", "mark"]), VALUES, max_size=6))
def test_whatever_a_file_holds_is_a_job_or_refused(
    tmp_path_factory: pytest.TempPathFactory, data: dict[str, object]
) -> None:
    import tomlkit

    file = tmp_path_factory.getbasetemp() / "random.toml"
    try:
        file.write_text(tomlkit.dumps(data), encoding="utf-8")
    except ValueError:
        return
    with pytest.raises(Refused) as e:
        load_job(file)
    assert all(f.what and f.where.startswith("random.toml") for f in e.value.findings)
