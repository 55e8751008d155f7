"""SVG path data by its grammar, strictly (SVG 1.1 section 8.3, arcs by F.6).

Reads commands up to the first error, as the standard asks, and says where that is: an outline that
is wrong can't be cut, so the caller makes a fault of it.  Coordinates are the drawing's own.
`geometry.pathdata` reads the narrower text that this program writes itself.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import ClassVar

from foamwright.geometry.segments import Cubic, Line
from foamwright.stages.acquire.curves import Drawn, arc_between, quadratic

#: Numbers beyond this, in drawing units, can't be meant and would overflow later.
LARGEST = 1e12

_WSP = r"[ \t\r\n\f]*+"
_BETWEEN = rf"(?>{_WSP},?{_WSP})"
NUMBER = r"(?>[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]+)?)"
_ARGUMENTS = {"M": "nn", "L": "nn", "H": "n", "V": "n", "C": "n" * 6, "S": "nnnn"}
_ARGUMENTS |= {"Q": "nnnn", "T": "nn", "A": "nnnffnn"}


def _sequence(kinds: str) -> str:
    return _BETWEEN.join(f"({NUMBER if k == 'n' else '[01]'})" for k in kinds)


_FIRST = {c: re.compile(_WSP + _sequence(kinds)) for c, kinds in _ARGUMENTS.items()}
_NEXT = {c: re.compile(_BETWEEN + _sequence(kinds)) for c, kinds in _ARGUMENTS.items()}
_COMMAND = re.compile(rf"{_WSP}([MmLlHhVvCcSsQqTtAaZz])")
_END = re.compile(rf"{_WSP}\Z")
_DECIMALS = re.compile(r"\.([0-9]+)(?![0-9]*[eE])")


@dataclass(slots=True)
class Subpath:
    """A run of segments from one move; start: where it begins, also where it has no segment."""

    start: complex
    segments: list[Drawn] = field(default_factory=list)
    closed: bool = False


@dataclass(frozen=True, slots=True)
class PathData:
    """What was read. error: what is wrong and at which character, or empty."""

    subpaths: tuple[Subpath, ...]
    error: str = ""


def decimals(text: str) -> int:
    """The most decimals that any number of the text is written with."""
    return max((len(m) for m in _DECIMALS.findall(text)), default=0)


def parse(text: str) -> PathData:
    """The subpaths drawn up to the first error, and the error."""
    pen = _Pen()
    at, error = 0, ""
    while not error and not _END.match(text, at):
        found = _COMMAND.match(text, at)
        if found is None:
            error = _at(text, at, "is not a command")
        elif not pen.subpaths and found[1] not in "Mm":
            error = _at(text, found.start(1), "stands before the first move")
        else:
            at, error = _run(text, found.end(), found[1], pen)
    return PathData(tuple(pen.subpaths), error)


def _at(text: str, at: int, what: str) -> str:
    rest = text[at : at + 12].strip()
    return (
        f"path data: character {at + 1}, {rest!r}, {what}" if rest else "path data ends too early"
    )


def _run(text: str, at: int, letter: str, pen: _Pen) -> tuple[int, str]:
    """One command with all its argument sequences: where it ends and what is wrong."""
    command = letter.upper()
    if command == "Z":
        pen.close()
        return at, ""
    relative = letter != command
    pattern = _FIRST[command]
    while found := pattern.match(text, at):
        values = [float(v) for v in found.groups()]
        if any(abs(v) > LARGEST for v in values):
            return at, _at(text, found.start(1), "holds a number too large to be meant")
        pen.draw(command, values, relative)
        at, pattern = found.end(), _NEXT[command]
        if command == "M":
            command, pattern = "L", _NEXT["L"]
    if pattern is _FIRST.get(command):
        return at, _at(text, at, f"is not what {letter} needs")
    if not (_END.match(text, at) or _COMMAND.match(text, at)):
        return at, _at(text, at, f"is neither a command nor what {letter} needs")
    return at, ""


class _Pen:
    """The drawing state of path data: current point, start of the subpath, last control point."""

    def __init__(self) -> None:
        self.subpaths: list[Subpath] = []
        self.here = self.start = 0j
        self.cubic_handle: complex | None = None
        self.quadratic_handle: complex | None = None

    def close(self) -> None:
        self._open().closed = True
        self._move_on(self.start)

    def draw(self, command: str, values: list[float], relative: bool) -> None:
        origin = self.here if relative else 0j
        if command == "M":
            self.start = self.here = origin + complex(*values)
            self.subpaths.append(Subpath(self.start))
            self._move_on(self.here)
            return
        self._ACTIONS[command](self, values, origin)

    def _open(self) -> Subpath:
        last = self.subpaths[-1]
        if last.closed:
            last = Subpath(self.start)
            self.subpaths.append(last)
        return last

    def _move_on(self, to: complex) -> None:
        self.here = to
        self.cubic_handle = self.quadratic_handle = None

    def _add(self, made: Drawn | None, to: complex) -> None:
        if made is not None:
            self._open().segments.append(made)
        self._move_on(to)

    def _line(self, v: list[float], origin: complex) -> None:
        to = origin + complex(v[0], v[1])
        self._add(Line(self.here, to), to)

    def _across(self, v: list[float], origin: complex) -> None:
        to = complex(origin.real + v[0], self.here.imag)
        self._add(Line(self.here, to), to)

    def _up(self, v: list[float], origin: complex) -> None:
        to = complex(self.here.real, origin.imag + v[0])
        self._add(Line(self.here, to), to)

    def _curve(self, v: list[float], origin: complex) -> None:
        self._cubic(origin + complex(v[0], v[1]), v[2:], origin)

    def _smooth(self, v: list[float], origin: complex) -> None:
        handle = self.here if self.cubic_handle is None else 2 * self.here - self.cubic_handle
        self._cubic(handle, v, origin)

    def _cubic(self, first: complex, v: list[float], origin: complex) -> None:
        second, to = origin + complex(v[0], v[1]), origin + complex(v[2], v[3])
        self._add(Cubic(self.here, first, second, to), to)
        self.cubic_handle = second

    def _quadratic(self, v: list[float], origin: complex) -> None:
        self._bend(origin + complex(v[0], v[1]), origin + complex(v[2], v[3]))

    def _smooth_quadratic(self, v: list[float], origin: complex) -> None:
        last = self.quadratic_handle
        self._bend(self.here if last is None else 2 * self.here - last, origin + complex(*v))

    def _bend(self, control: complex, to: complex) -> None:
        self._add(quadratic(self.here, control, to), to)
        self.quadratic_handle = control

    def _arc(self, v: list[float], origin: complex) -> None:
        to = origin + complex(v[5], v[6])
        self._add(arc_between(self.here, to, (v[0], v[1]), v[2], (v[3] == 1, v[4] == 1)), to)

    _ACTIONS: ClassVar[Mapping[str, Callable[[_Pen, list[float], complex], None]]] = {
        "L": _line,
        "H": _across,
        "V": _up,
        "C": _curve,
        "S": _smooth,
        "Q": _quadratic,
        "T": _smooth_quadratic,
        "A": _arc,
    }
