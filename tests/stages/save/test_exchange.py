"""Pattern exchange files, read back by GDAL's reader and by our own.

Layers and units by two secondary descriptions of ASTM D6673-10, not by the standard itself.
"""

from __future__ import annotations

import io
import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pyogrio
import pytest
import shapely
from click.testing import CliRunner

from foamwright import pipeline
from foamwright.asked import Request
from foamwright.cli import main
from foamwright.exchange import PatternPiece
from foamwright.geometry.path import Path as Outline
from foamwright.geometry.pathdata import parse_path_data
from foamwright.model import Mark, Piece, Slit
from foamwright.record import Record
from foamwright.stages.acquire import read_drawing
from foamwright.stages.alter import exchanged
from foamwright.stages.save.exchange import CHORDS, block_names, exchange_entry, exchange_text
from foamwright.stages.verify.exchange import prove_exchange
from tests.jobs import PLATE, job
from tests.pieces import piece, rectangle
from tests.stages.alter.test_alter import TOLERANCE, drafts

OUTLINE = rectangle(100, 60)
HOLE = Outline.circle(60 + 30j, 10)
NOTCHES = [
    {"edge": "low", "at": 30, "depth": 4, "width": 3},
    {"edge": "low", "at": 60, "depth": 4, "shape": "slit"},
    {"edge": "side", "at": 20, "depth": 3, "shape": "t"},
    {"edge": "top", "at": 20, "depth": 3, "shape": "castle"},
    {"edge": "top", "at": 60, "depth": 3, "shape": "u", "double": True, "apart": 12},
    {"edge": "bare", "at": 30, "depth": 5},
]


def pattern() -> PatternPiece:
    """6 mm of allowance but on its left side, five kinds of notch, a slit, a cross and a hole."""
    drawn = piece("sleeve", OUTLINE, [HOLE])
    cross = tuple(
        Outline.polygon(p, closed=False) for p in ([17 + 20j, 23 + 20j], [20 + 17j, 20 + 23j])
    )
    slit = Slit("vent", Outline.polygon([30 + 40j, 45 + 45j], closed=False))
    drawn = Piece(
        drawn.name,
        drawn.outline,
        drawn.openings,
        (slit,),
        (
            Mark("cross", "cross", 20 + 20j, cross),
            Mark("hole", "hole", 80 + 15j, (Outline.circle(80 + 15j, 2),)),
        ),
        grain=30.0,
        notes=("cut two; caf\u00e9",),
    )
    edges = {"low": ("1", "2"), "side": ("2", "3"), "top": ("3", "4"), "bare": ("4", "1")}
    allowance = {"default": 6, "bare": 0}
    draft, _ = drafts(drawn, edges=edges, allowance=allowance, notch=NOTCHES, mirrored=1)
    return exchanged(draft, TOLERANCE)


def by_layer(file: Path) -> dict[str, list[Any]]:
    """Geometries of all blocks by layer, as GDAL reads them where their inserts put them."""
    options = {"DXF_INLINE_BLOCKS": "TRUE", "DXF_MERGE_BLOCK_GEOMETRIES": "FALSE"}
    pyogrio.set_gdal_config_options(options)
    try:
        meta, _, found, fields = pyogrio.raw.read(file)
    finally:
        pyogrio.set_gdal_config_options(dict.fromkeys(options))
    layers = fields[list(meta["fields"]).index("Layer")]
    made: dict[str, list[Any]] = {}
    for layer, shape in zip(layers, shapely.from_wkb(found), strict=True):
        made.setdefault(str(layer), []).append(shape)
    return made


@pytest.mark.parametrize(("units", "size"), [("metric", 1.0), ("english", 25.4)])
def test_gdal_reads_every_layer_with_the_same_lengths_and_areas(
    tmp_path: Path, units: Any, size: float
) -> None:
    made = pattern()
    file = tmp_path / "a.dxf"
    file.write_text(exchange_text("Coat", [made], units), encoding="ascii")
    found = by_layer(file)
    lines = {k: [g for g in v if g.geom_type != "Point"] for k, v in found.items()}
    (edge,) = lines["1"]
    ring = shapely.Polygon(shapely.get_coordinates(edge) * size)
    # boundary by hand: 106 x 72 mm, the left side without allowance
    assert ring.area == pytest.approx(106 * 72, abs=1)
    assert ring.area == pytest.approx(made.boundary.area, abs=0.01 * made.boundary.length)
    assert ring.length == pytest.approx(made.boundary.length, abs=0.05)
    hole, slit = sorted(lines["11"], key=lambda g: -shapely.length(g))
    assert shapely.length(hole) * size == pytest.approx(20 * math.pi, abs=0.05)
    assert shapely.length(slit) * size == pytest.approx(math.hypot(15, 5), abs=0.02)
    (sew,) = lines["14"]
    assert shapely.length(sew) * size == pytest.approx(320, abs=0.05)
    assert sorted(shapely.length(g) * size for g in lines["8"]) == pytest.approx(
        [5, 6, 6], abs=0.02
    )
    (grain,) = lines["7"]
    (x0, y0), (x1, y1) = shapely.get_coordinates(grain)
    assert math.degrees(math.atan2(y1 - y0, x1 - x0)) == pytest.approx(30, abs=0.1)
    counts = {k: len(found.get(k, ())) for k in ("4", "13", "80", "81", "83")}
    assert counts == {"4": 2, "13": 1, "80": 1, "81": 1, "83": 2}
    # layers 2 and 3 hold the points of layers 1, 8, 11 and 14, each once for its line
    corners = [shapely.get_coordinates(g) for k in ("1", "8", "11", "14") for g in lines[k]]
    dots = {tuple(c) for k in ("2", "3") for g in found[k] for c in shapely.get_coordinates(g)}
    assert dots == {tuple(c) for c in np.concatenate(corners)}


def test_a_notch_is_a_point_with_depth_width_and_angle(tmp_path: Path) -> None:
    """Group 30 its depth, 39 its width, 50 its angle; on the cut line across from its station."""
    made = pattern()
    file = tmp_path / "a.dxf"
    file.write_text(exchange_text("Coat", [made], "metric"), encoding="ascii")
    text = file.read_text("ascii").split("\n")
    block = ezdxf.readfile(file).blocks["part"]
    v, slit = (e for e in block if e.dxf.layer == "4")
    # the block's corner is the cut line's: 6 mm below and no mm left of the drawing's
    assert tuple(v.dxf.location) == (30, 0, 4)
    assert (v.dxf.thickness, v.dxf.angle) == (3, 90)
    assert tuple(slit.dxf.location) == (60, 0, 4)
    assert slit.dxf.thickness == 0
    assert [e.dxf.angle for e in block if e.dxf.layer == "80"] == [180]
    first = next(k for k in range(len(text)) if text[k : k + 2] == ["  8", "4"])
    assert {"30", "39", "50"} <= {t.strip() for t in text[first : first + 14 : 2]}


def test_one_block_a_piece_in_seven_bits(tmp_path: Path) -> None:
    made = pattern()
    text = exchange_text("Coat \u00e0 manches", [made, made], "metric")
    assert text.isascii()
    doc = ezdxf.read(io.StringIO(text))
    inserts = [e.dxf.name for e in doc.modelspace() if e.dxftype() == "INSERT"]
    assert len(inserts) == len(set(inserts)) == 2
    words = {e.dxf.text for e in doc.blocks[inserts[0]] if e.dxftype() == "TEXT"}
    assert {"PIECE NAME: part", "QUANTITY: 1,1", "MATERIAL: foam"} <= words
    bare = {"5", "6", "7", "9", "10", "13"}  # layers that hold no polylines
    lines = {e.dxf.layer for b in inserts for e in doc.blocks[b] if e.dxftype() == "POLYLINE"}
    assert lines == {"1", "8", "11", "14"}
    assert not lines & bare
    for b in inserts:
        (edge,) = (e for e in doc.blocks[b] if e.dxf.layer == "1" and e.dxftype() == "POLYLINE")
        assert edge.is_closed
        assert not any(v.dxf.bulge for v in edge.vertices)
        for vertex in edge.vertices:
            x, y, _ = vertex.dxf.location
            assert (round(x, 2), round(y, 2)) == (x, y)


def test_our_own_reader_finds_the_piece_again(tmp_path: Path) -> None:
    made = pattern()
    file = tmp_path / "a.dxf"
    file.write_text(exchange_text("Coat", [made], "english"), encoding="ascii")
    drawing, findings = read_drawing(file, None)
    assert not [f.line() for f in findings if f.is_fault]
    assert drawing.unit == "in"
    (back,) = drawing.pieces
    assert back.outline.area == pytest.approx(made.boundary.area, abs=0.01 * made.boundary.length)
    assert back.outline.length == pytest.approx(made.boundary.length, abs=0.05)
    assert [o.path.area for o in back.openings] == [pytest.approx(-100 * math.pi, abs=1)]
    assert [s.path.length for s in back.slits] == [pytest.approx(math.hypot(15, 5), abs=0.02)]
    assert back.grain == pytest.approx(30, abs=0.1)
    assert len(back.points) == 6
    assert len(back.notes) == 1


def changed(made: PatternPiece, old: str, new: str, units: Any = "metric") -> list[str]:
    entry = exchange_entry("a.dxf", [made], units)
    text = exchange_text("Coat", [made], units)
    assert old in text
    return [f.what for f in prove_exchange(entry, text.replace(old, new, 1).encode("ascii"))]


@pytest.mark.parametrize("units", ["metric", "english"])
def test_what_was_written_is_proven(units: Any) -> None:
    assert changed(pattern(), "UNITS", "UNITS", units) == []


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("QUANTITY: 1,1", "QUANTITY: 2,0", "quantity"),
        ("UNITS: METRIC", "UNITS: ENGLISH", "units"),
        (" 10\n106.0\n", " 10\n106.1\n", "turn and curve points"),
        ("44\n  8\n1\n 10\n106.0\n", "44\n  8\n1\n 10\n106.1\n", "layer 1 lies 0.1"),
        (" 30\n4.0\n", " 30\n4.5\n", "notches on layer 4"),
        ("  8\n83\n", "  8\n81\n", "notches on layer 81"),
        (" 50\n90.0\n", " 50\n80.0\n", "notches on layer 4"),
        ("EOF", "", "can't be read"),
    ],
)
def test_a_changed_file_is_refused(old: str, new: str, said: str) -> None:
    wrong = changed(pattern(), old, new)
    assert any(said in what for what in wrong), wrong


def test_a_cut_writes_it_seals_it_and_proves_it_again(tmp_path: Path) -> None:
    made = job(tmp_path / "job", head='exchange = "metric"', body=PLATE)
    out = tmp_path / "out"
    result = pipeline.cut(made.request, out)
    record = Record.model_validate(json.loads((out / "record.json").read_text("utf-8")))
    assert record.exchange is not None
    name = record.exchange.name
    assert name == "plates-pattern-exchange.dxf"
    assert name in record.others
    assert name in record.sealed
    assert name not in [f.name for f in record.files]
    assert result.record.verification is not None
    assert result.record.verification.passed
    assert name in (out / "operator-sheet.html").read_text("utf-8")
    assert pipeline.verify_folder(out)[0].passed
    # the recorded boundary is the target's: 60 x 42 mm less its bays, by area
    (entry,) = record.exchange.pieces
    boundary = parse_path_data(entry.lines["1"][0])[0]
    target = parse_path_data(record.pieces[0].target)[0]
    assert boundary.area == pytest.approx(target.area, abs=1e-6)
    text = (out / name).read_text("ascii")
    (out / name).write_text(text.replace("plate", "plank"), "ascii")
    proof, findings = pipeline.verify_folder(out)
    assert not proof.passed
    assert {"V043", "V051"} <= {f.code for f in findings}
    (out / name).unlink()
    assert {"V043", "V051"} <= {f.code for f in pipeline.verify_folder(out)[1]}
    # a second cut without it takes the old one away; a bare drawing takes the option
    pipeline.cut(job(tmp_path / "job", body=PLATE).request, out)
    assert not (out / name).exists()
    words = ["--material", "card-1mm", "--machine", "desk-laser-600", "--exchange", "english"]
    ran = CliRunner().invoke(
        main,
        ["cut", str(tmp_path / "job/plate.svg"), *words, "--out", str(tmp_path / "bare"), "--json"],
    )
    assert ran.exit_code == 0, ran.stderr
    assert json.loads(ran.stdout)["exchange"] == "plate-pattern-exchange.dxf"


def test_the_same_pattern_gives_the_same_bytes(tmp_path: Path) -> None:
    texts = {exchange_text("Coat", [pattern()], "metric") for _ in range(2)}
    assert len(texts) == 1
    assert CHORDS <= 0.01
    assert Request(tmp_path / "a.svg").exchange is None


def test_long_names_are_cut_to_what_the_release_bears() -> None:
    long = "a very long name of a piece that has no end"
    pieces = [replace(pattern(), name=f"{long} {k}") for k in range(2)]
    names = block_names(pieces)
    assert len(set(names)) == 2
    assert max(map(len, names)) == 31
    entry = exchange_entry("a.dxf", pieces, "metric")
    text = exchange_text("Coat", pieces, "metric").encode("ascii")
    assert prove_exchange(entry, text) == ()
    assert [f.code for f in prove_exchange(entry, None)] == ["V051"]
