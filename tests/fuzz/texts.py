"""Made-up input for the readers: drawings, jobs and profiles, sound at heart and wrong somewhere.

Each strategy gives bytes as they would lie in a file.  Nothing here is read from outside.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from itertools import chain
from typing import Any

from hypothesis import strategies as st

Made = st.SearchStrategy[Any]

#: Numbers that files hold, and ought not to.
NUMBERS = st.one_of(
    st.integers(-300, 300).map(str),
    st.floats(-300, 300, allow_nan=False).map(lambda v: f"{v:.4g}"),
    st.sampled_from(
        ["0", "-0", "1e308", "-1e308", "1e-320", "nan", "inf", "1e5000", "", ".", "5e", "٣", "0x1f"]
    ),
    st.floats().map(repr),
)
LENGTHS = st.one_of(
    NUMBERS,
    st.tuples(
        NUMBERS, st.sampled_from(["mm", "in", "cm", "px", "pt", "pc", "Q", "%", "em", "vw", "MM"])
    ).map("".join),
)
WORDS = st.one_of(
    st.sampled_from(
        ["cut", "slit", "mark", "sole", "../x", "none", "hidden", "a b", "é", "\u202e", "<b>", ""]
    ),
    st.text(max_size=6),
)


def path_data() -> Made:
    command = st.tuples(
        st.sampled_from([*"MmLlHhVvCcSsQqTtAaZz", "", "X", ","]),
        st.lists(NUMBERS, max_size=8),
        st.sampled_from([" ", ",", " , ", ""]),
    ).map(lambda row: row[0] + row[2].join(row[1]))
    closed = st.lists(st.tuples(NUMBERS, NUMBERS), min_size=3, max_size=8).map(
        lambda spots: "M" + "L".join(f"{x},{y}" for x, y in spots) + "z"
    )
    return st.one_of(closed, st.lists(command, max_size=8).map("".join))


TRANSFORMS = st.lists(
    st.tuples(
        st.sampled_from(["matrix", "translate", "scale", "rotate", "skewX", "skewY", "turn"]),
        st.lists(NUMBERS, max_size=7),
    ).map(lambda row: f"{row[0]}({' '.join(row[1])})"),
    max_size=3,
).map(" ".join)
STYLES = st.lists(
    st.tuples(
        st.sampled_from(["display", "visibility", "fill", "stroke", "stroke-width", "clip-path"]),
        st.one_of(
            st.sampled_from(["none", "hidden", "inherit", "url(#a)", "red !important"]), LENGTHS
        ),
    ).map(":".join),
    max_size=3,
).map(";".join)
IDS = st.sampled_from(["a", "b", "c"])
ATTRIBUTES: dict[str, Made] = {
    **dict.fromkeys(["x", "y", "width", "height", "cx", "cy", "r", "rx", "ry"], LENGTHS),
    **dict.fromkeys(["x1", "y1", "x2", "y2"], LENGTHS),
    "d": path_data(),
    "points": st.lists(NUMBERS, max_size=9).map(" ".join),
    "transform": TRANSFORMS,
    "style": STYLES,
    "id": IDS,
    "href": IDS.map(lambda i: f"#{i}"),
    "class": IDS,
    "data-role": WORDS,
    "viewBox": st.lists(NUMBERS, min_size=3, max_size=5).map(" ".join),
    "preserveAspectRatio": st.sampled_from(["none", "xMidYMid slice", "xMinYMax meet", "x"]),
    "display": st.sampled_from(["none", "inline"]),
    "clip-path": st.just("url(#a)"),
}
SHAPES = ["path", "path", "rect", "circle", "ellipse", "line", "polyline", "polygon"]
HOLDERS = ["g", "svg", "symbol", "defs", "a", "switch", "clipPath", "marker", "mask", "pattern"]
OTHERS = ["use", "text", "image", "title", "desc", "style", "foreignObject", "metadata", "banana"]


def _element(name: str, attributes: dict[str, str], inside: str) -> str:
    told = "".join(f' {k}="{escape(_xml(v))}"' for k, v in attributes.items())
    return f"<{name}{told}>{inside}</{name}>"


def _xml(text: str) -> str:
    return "".join(c for c in text if c >= " " and not "\ud800" <= c <= "\udfff" and c < "\ufffe")


def _attributes() -> Made:
    return st.lists(st.sampled_from(sorted(ATTRIBUTES)), max_size=6, unique=True).flatmap(
        lambda keys: st.fixed_dictionaries({k: ATTRIBUTES[k] for k in keys})
    )


def svg_text() -> Made:
    leaf = st.builds(
        _element, st.sampled_from(SHAPES + OTHERS), _attributes(), WORDS.map(_xml).map(escape)
    )
    tree = st.recursive(
        leaf,
        lambda inner: st.builds(
            _element,
            st.sampled_from(HOLDERS),
            _attributes(),
            st.lists(inner, max_size=4).map("".join),
        ),
        max_leaves=12,
    )
    root = st.fixed_dictionaries({"width": LENGTHS, "height": LENGTHS, "viewBox": _box()})
    names = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
    return st.tuples(root, st.lists(tree, min_size=1, max_size=6)).map(
        lambda made: _element(f"svg {names}", made[0], "".join(made[1])).replace(
            f"</svg {names}>", "</svg>"
        )
    )


def _box() -> Made:
    return st.one_of(
        st.just("0 0 200 100"), st.lists(NUMBERS, min_size=4, max_size=4).map(" ".join)
    )


CODES = st.sampled_from(
    [
        *(1, 2, 5, 6, 8, 10, 20, 30, 11, 21, 31, 12, 13, 40, 41, 42, 43, 44, 45, 50, 51, 62, 66),
        *(67, 70, 71, 72, 73, 74, 75, 76, 90, 91, 92, 93, 94, 95, 96, 97, 100, 210, 220, 230, 999),
    ]
)
KINDS = [
    *("LINE", "ARC", "CIRCLE", "ELLIPSE", "LWPOLYLINE", "POLYLINE", "VERTEX", "SEQEND", "SPLINE"),
    *("HATCH", "MPOLYGON", "INSERT", "POINT", "TEXT", "MTEXT", "SOLID", "3DFACE", "DIMENSION", "X"),
]


def _entity() -> Made:
    """An entity with the codes that all of them have, and any others."""
    return st.tuples(
        st.sampled_from(KINDS),
        st.lists(
            st.tuples(CODES, st.one_of(NUMBERS, st.sampled_from(["A", "B", "AcDbLine"]))),
            max_size=24,
        ),
    ).map(lambda made: [(0, made[0]), (8, "0"), *made[1]])


def _square() -> Made:
    return st.tuples(NUMBERS, NUMBERS, NUMBERS, NUMBERS).map(
        lambda v: [
            *((0, "LWPOLYLINE"), (100, "AcDbEntity"), (8, "0"), (100, "AcDbPolyline"), (90, 3)),
            *((70, 1), (10, 0), (20, 0), (10, v[0]), (20, v[1]), (42, v[2]), (10, 9), (20, v[3])),
        ]
    )


def dxf_text() -> Made:
    rows = st.lists(st.one_of(_square(), _entity()), max_size=6).map(_flat)
    block = st.tuples(st.sampled_from(["A", "B"]), rows).map(
        lambda made: [
            *((0, "BLOCK"), (8, "0"), (2, made[0]), (10, 0), (20, 0)),
            *made[1],
            *((0, "ENDBLK"), (8, "0")),
        ]
    )
    header = st.tuples(st.sampled_from(["AC1009", "AC1015", "AC1032", "X"]), NUMBERS).map(
        lambda made: [(9, "$ACADVER"), (1, made[0]), (9, "$INSUNITS"), (70, made[1])]
    )
    return st.tuples(header, st.lists(block, max_size=2).map(_flat), rows).map(
        lambda made: _tags(
            _section("HEADER", made[0])
            + _section("BLOCKS", made[1])
            + _section("ENTITIES", made[2])
        )
    )


def _flat(rows: Sequence[Sequence[tuple[int, Any]]]) -> list[tuple[int, Any]]:
    return list(chain.from_iterable(rows))


def _section(name: str, rows: Sequence[tuple[int, Any]]) -> list[tuple[int, Any]]:
    return [(0, "SECTION"), (2, name), *rows, (0, "ENDSEC")]


def _tags(rows: Sequence[tuple[int, Any]]) -> str:
    return "\n".join(f"{code}\n{value}" for code, value in (*rows, (0, "EOF"))) + "\n"


VALUES = st.one_of(
    NUMBERS,
    st.sampled_from(
        [
            *('"5 mm"', '"1/2 in"', '"50 %"', '"-3 mm"', '"1e999 mm"', '"mm"', "true", "[]", "{}"),
            *(
                "2026-11-02",
                "[1, 2]",
                '["1 in"]',
                "'''x'''",
                '"laser"',
                "[[",
                "{a = 1}",
                '"\\u0000"',
            ),
        ]
    ),
    st.text(max_size=5).map(lambda t: '"' + t.replace("\\", "").replace('"', "") + '"'),
)


def altered_toml(text: str) -> Made:
    """The file with lines left out, doubled, moved, and with other keys and values."""
    lines = text.splitlines()
    keys = sorted({x.split("=")[0].strip() for x in lines if "=" in x and not x.startswith("#")})
    heads = sorted({x for x in lines if x.startswith("[")})
    at = st.integers(0, len(lines))
    fresh = st.one_of(
        st.tuples(st.sampled_from(keys), VALUES).map(" = ".join),
        st.sampled_from([*heads, "[piece]", "[[job]]", "[x]", "a.b = 1", "garbage"]),
    )
    change = st.one_of(
        st.tuples(st.just("put"), at, fresh),
        st.tuples(st.just("drop"), at, st.just("")),
        st.tuples(st.just("value"), at, VALUES),
    )

    def applied(changes: Sequence[tuple[str, int, str]]) -> str:
        made = list(lines)
        for what, wanted, new in changes:
            place = min(wanted, len(made) - 1)
            if what == "put":
                made.insert(place, new)
            elif what == "drop" and len(made) > 1:
                del made[place]
            elif "=" in made[place]:
                made[place] = f"{made[place].split('=')[0]}= {new}"
        return "\n".join(made) + "\n"

    return st.lists(change, min_size=1, max_size=5).map(applied)


def mangled(texts: Made) -> Made:
    """Now and then bytes are cut out, put in or doubled."""
    cut = st.tuples(st.floats(0, 1), st.floats(0, 1), st.binary(max_size=8))

    def applied(made: tuple[str, Sequence[tuple[float, float, bytes]]]) -> bytes:
        data = made[0].encode("utf-8", "surrogatepass")
        for first, share, put in made[1]:
            i = int(first * len(data))
            data = data[:i] + put + data[i + int(share * 20) :]
        return data

    none: Made = st.just([])
    return st.tuples(texts, st.one_of(none, none, st.lists(cut, max_size=2))).map(applied)
