"""What a record tells that no edge shows: its tools, times, sheets and measures, held against the
files' own paths, the profiles that it lists, and the packaged ones.

A record can be re-made with a true checksum.  What follows from the files or from the package is
worked out again here, and a difference is a fault; what only the record tells is told as such.
Does not simulate a tool (`stages/verify`) and does not judge materials (`safety`).
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, TypeAlias, cast

from pydantic import BaseModel, ValidationError

from foamwright import __version__
from foamwright.derive import tool_for
from foamwright.errors import FoamwrightError
from foamwright.findings import Finding, Refused, fault, note
from foamwright.geometry.pathdata import parse_path_data
from foamwright.model import Cut, Method, Operation, Tool
from foamwright.profile_models import CutSettings, MachineProfile, MaterialProfile
from foamwright.profiles import Layer, Shelf
from foamwright.record import FileEntry, ProfileEntry, Record, SheetEntry, Verification
from foamwright.safety import best_entries
from foamwright.series import settled
from foamwright.shelf_folder import packaged_profiles
from foamwright.stages.order import HOME
from foamwright.stages.order.time import operation_times
from foamwright.stages.verify import read_files
from foamwright.stages.verify.read_svg import read_svg
from foamwright.stages.verify.reading import UnreadableError
from foamwright.stages.verify.simulate import BadToolError, read_tool

Values: TypeAlias = Mapping[str, Any]

RECORD = "record.json"
#: Share and seconds by which the rounding of written coordinates may change a time.
TIME_SHARE, TIME_S = 1e-3, 0.02
#: mm, and shares of a sheet, that a recorded figure's own rounding may be off.
ROUNDING = 2e-6
#: mm that two computers' proofs of the same files may differ.
PROOFS_APART = 1e-3
#: `unreached_max` where a job says nothing, mm.
USUAL_UNREACHED = 0.5
#: Degrees by which rounding may turn a grain.
GRAIN_OFF = 1e-3
#: Measures of a tool that may lie below nought: a focus above the face.
EITHER_WAY = ("focus_depth", "focus_step")
_ANEW = "cut the job anew"


def vouch(folder: Path, record: Record, proof: Verification) -> tuple[Finding, ...]:
    """Faults (V003, V026, V042, V043) of what a record tells beside its geometry.

    proof: the one that was just made of the folder.
    """
    wrong = [
        *_tools(record),
        *_packaged(record),
        *_between(record),
        *_sheets(record),
        *_verification(record, proof),
    ]
    found = [fault("V003", RECORD, what, _ANEW) for what in dict.fromkeys(wrong)]
    return (*found, *_lain(record), *_times(folder, record), *_others(folder, record))


def not_proven(record: Record) -> tuple[Finding, ...]:
    """Notes (V041) on what the record tells and nothing in the folder can prove."""
    told = []
    if record.unreached_max_mm > USUAL_UNREACHED:
        told.append(
            f"unreached_max of {record.unreached_max_mm:g} mm, looser than the usual "
            f"{USUAL_UNREACHED:g} mm"
        )
    theirs = [
        f"{p.kind} {p.id}: " + ", ".join(v.key for v in p.values if _is_theirs(v.origin))
        for p in record.profiles
        if any(_is_theirs(v.origin) for v in p.values)
    ]
    told += [f"values from a shelf that is not packaged, {t}" for t in theirs]
    if any(s.price is not None for s in record.sheets):
        told.append("the prices of its material")
    told += [f"the permit {p.reference} of {p.issued_by}" for p in record.permits]
    faces = {str(f.tool.get("true_face", "top")) for f in record.files} - {"top"}
    told += [f"that the size is to hold at the {face} face" for face in sorted(faces)]
    names = ", ".join(i.name for i in record.inputs)
    if record.exchange is not None:
        told.append(
            f"that {record.exchange.name} holds the job's own lines, as the record has them"
        )
    told.append(f"that the targets are what the job made of its inputs ({names or 'none named'})")
    if record.version != __version__:
        told.append(f"values of the profiles packaged with version {record.version}")
    return tuple(note("V041", RECORD, f"told by the record, not proven: {what}") for what in told)


def _is_theirs(origin: str) -> bool:
    return origin != "default" and not origin.startswith("package:")


# Tools and profiles


def _tools(record: Record) -> Iterator[str]:
    """Where a file's tool is not what the listed profiles' values make of it."""
    for entry in record.files:
        try:
            tool = read_tool(entry.tool)
        except BadToolError:
            continue  # verify has told why
        yield from (f"the tool of {entry.name}: its {w} can't be meant" for w in _unmeant(tool))
        if any(c.start is None for c in entry.contours):
            yield f"{entry.name}: a contour without its start"
        pair = (entry.material, entry.machine)
        listed = best_entries(record, pair, tool.method)
        if not all(e.values for e in listed):
            yield f"{entry.name}: no values of {' and '.join(pair)} are listed"
            continue
        try:
            due = _tool_of(*listed, tool)
        except (ValidationError, Refused, KeyError, TypeError) as why:
            yield f"the values of {' on '.join(pair)} are no profiles ({_first(why)})"
            continue
        yield from (f"the tool of {entry.name}: {what}" for what in _differences(tool, due))


def _unmeant(tool: Tool) -> Iterator[str]:
    """Measures below nought, and what the time is divided by at nought."""
    for key, value in asdict(tool).items():
        if isinstance(value, bool) or not isinstance(value, int | float):
            continue
        least = -math.inf if key in EITHER_WAY else 1 if key == "passes" else 0
        divides = key in ("cut_speed", "travel_speed", "acceleration")
        if not (least <= value < math.inf and math.isfinite(value)) or (divides and value == 0):
            yield f"{key} of {value:g}"


def _tool_of(material: ProfileEntry, machine: ProfileEntry, tool: Tool) -> Tool:
    stuff, bed = _values(material), _values(machine)
    cut = {k.removeprefix("cut."): v for k, v in stuff.items() if k.startswith("cut.")}
    skipped = ("cut.", "score.", "lineage")
    plain = {k: v for k, v in stuff.items() if not k.startswith(skipped)}
    bed = {k: v for k, v in bed.items() if k != "lineage"}
    return tool_for(
        MachineProfile.model_validate({**bed, "id": machine.id}),
        MaterialProfile.model_validate({**plain, "id": material.id, "cut": [cut]}),
        CutSettings.model_validate(cut),
        tool.true_face,
    )


def _values(entry: ProfileEntry) -> dict[str, Any]:
    return {v.key: v.value for v in entry.values}


def _first(why: Exception) -> str:
    if isinstance(why, ValidationError):
        error = why.errors()[0]
        return f"{'.'.join(map(str, error['loc']))}: {error['msg']}"
    return str(why).splitlines()[0][:120] if str(why) else type(why).__name__


def _differences(tool: Tool, due: Tool) -> Iterator[str]:
    ours, theirs = asdict(tool), asdict(due)
    for key, value in ours.items():
        if not _same(value, theirs[key]):
            yield f"its {key} is {_shown(value)}, the listed profiles make it {_shown(theirs[key])}"


def _same(a: Any, b: Any) -> bool:
    if isinstance(a, float | int) and isinstance(b, float | int):
        return math.isclose(a, b, rel_tol=1e-9, abs_tol=1e-9)
    if isinstance(a, list | tuple) and isinstance(b, list | tuple):
        return len(a) == len(b) and all(map(_same, a, b))
    if isinstance(a, Mapping) and isinstance(b, Mapping):
        return a.keys() == b.keys() and all(_same(v, b[k]) for k, v in a.items())
    return bool(a == b)


def _shown(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)[:80]


def _packaged(record: Record) -> Iterator[str]:
    """Where a value said to be packaged, or a default, is not what this version has.

    A record of another version had other packaged profiles: nothing is compared.
    """
    if record.version != __version__:
        return
    packaged = _Packaged()
    for entry in record.profiles:
        mine = _values(entry)
        for value in entry.values:
            if value.key in ("lineage", "composition"):
                continue  # the hazard rules know the packaged composition themselves
            due = _due(packaged, entry, value.key, value.origin, mine)
            if due is not None and not _same(_plain(value.value), due[0]):
                yield (
                    f"{entry.kind} {entry.id}: {value.key} is {_shown(value.value)}, "
                    f"{value.origin} has {_shown(due[0])}"
                )


def _between(record: Record) -> Iterator[str]:
    """Where a value is not what the series of thicknesses that it was taken from gives."""
    for entry in record.profiles:
        mine = _values(entry)
        cut = {k.removeprefix("cut."): v for k, v in mine.items() if k.startswith("cut.")}
        if not cut.get("at"):
            continue
        due = _at_thickness(cut, mine)
        for key in sorted(cut):
            if not _same(_plain(cut[key]), due.get(key)):
                yield (
                    f"material {entry.id}: cut.{key} is {_shown(cut[key])}, and its measured "
                    f"thicknesses give {_shown(due.get(key))}"
                )


class _Packaged:
    """Packaged profiles as plain values, each read once."""

    def __init__(self) -> None:
        self._shelf = Shelf((Layer("package", packaged_profiles()),))
        self._read: dict[tuple[str, str], Any] = {}

    def __call__(self, kind: str, name: str) -> dict[str, Any] | None:
        if (kind, name) not in self._read:
            find = self._shelf.material if kind == "material" else self._shelf.machine
            try:
                self._read[kind, name] = _plain(find(name).profile)
            except FoamwrightError:
                self._read[kind, name] = None
        found: dict[str, Any] | None = self._read[kind, name]
        return found


def _due(
    packaged: _Packaged, entry: ProfileEntry, key: str, origin: str, mine: Values
) -> tuple[Any] | None:
    """What the value must be, or None where nothing here knows."""
    if origin == "default":
        return _default(entry, key)
    if not origin.startswith("package:"):
        return None
    profile = packaged(entry.kind, Path(origin.removeprefix("package:")).stem)
    if profile is None:
        return (f"no such profile ({origin})",)
    if not key.startswith(("cut.", "score.")):
        return (profile.get(key),)
    head, _, inner = key.partition(".")
    cuts = [c for c in profile.get("cut", ()) if _aim(c) == _aim(mine, f"{head}.")]
    return (_at_thickness(cuts[0], mine).get(inner),) if cuts else None


def _aim(told: Values, prefix: str = "") -> tuple[Any, ...]:
    """What a `[[cut]]` is for."""
    aim = tuple(told.get(f"{prefix}{k}") for k in ("method", "machine", "tool"))
    return (*aim, told.get(f"{prefix}operation", "cut"))


def _at_thickness(cut: dict[str, Any], mine: Values) -> dict[str, Any]:
    """A packaged cut's values at the recorded thickness, where it has a series of them."""
    if not cut.get("at"):
        return cut
    try:
        own = settled(CutSettings.model_validate(cut), float(mine["thickness"]), "")
    except (Refused, KeyError, TypeError, ValueError):
        return {}
    return dict(_plain(own))


def _default(entry: ProfileEntry, key: str) -> tuple[Any] | None:
    models: dict[str, type[BaseModel]] = {"material": MaterialProfile, "machine": MachineProfile}
    model = CutSettings if key.startswith(("cut.", "score.")) else models[entry.kind]
    fields = {field.alias or name: field for name, field in model.model_fields.items()}
    field = fields.get(key.removeprefix("cut.").removeprefix("score."))
    if field is None or field.is_required():
        return None
    return (_plain(field.get_default(call_default_factory=True, validated_data={})),)


def _plain(value: Any) -> Any:
    """As JSON has it: models as tables without what is not set, tuples as lists."""
    if isinstance(value, BaseModel):
        value = value.model_dump(mode="json", by_alias=True)
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items() if v is not None}
    if isinstance(value, list | tuple | frozenset | set):
        return [_plain(v) for v in value]
    return value


# Sheets


def _sheets(record: Record) -> Iterator[str]:
    """Where a sheet's figures are not those of the pieces on it and of its profiles."""
    covered = used = whole = 0.0
    for sheet in record.sheets:
        areas, far = _covered(record, sheet)
        size = _area(sheet)
        covered, used, whole = covered + areas, used + far, whole + size
        due = {"density": areas / size, "used_length_mm": far}
        yield from _off(f"sheet {sheet.number}", sheet.model_dump(), due)
        yield from _usable(record, sheet)
        if not math.isclose(sum(sheet.times_s.values()), sheet.time_s, abs_tol=0.01):
            yield f"sheet {sheet.number}: its times_s are not together its time_s"
    if not math.isclose(sum(s.time_s for s in record.sheets), record.time_s, abs_tol=0.01):
        yield "the sheets' times are not together its time_s"
    if whole:
        due = {"density": covered / whole, "used_length_mm": used, "sheets": len(record.sheets)}
        yield from _off("layout", record.layout, due)


def _area(sheet: SheetEntry) -> float:
    """mm2 of the material used."""
    whole = sheet.width * sheet.length
    try:
        drawn = [p.area for p in parse_path_data(sheet.outline)] if sheet.outline else []
    except FoamwrightError:
        drawn = []  # the proof has told why
    return min([whole, *(a for a in drawn if a > 0)])


def _off(where: str, told: Values, due: Mapping[str, float]) -> Iterator[str]:
    for key, value in due.items():
        ours = told.get(key)
        if not (isinstance(ours, int | float) and abs(ours - value) <= ROUNDING + 1e-9 * value):
            yield f"{where}: {key} is {_shown(ours)} and its pieces give {value:g}"


def _covered(record: Record, sheet: SheetEntry) -> tuple[float, float]:
    """Area of the pieces on a sheet, mm2, and how far along it they reach, mm."""
    areas, far = 0.0, 0.0
    for piece in record.pieces:
        if piece.sheet != sheet.number:
            continue
        try:
            paths = parse_path_data(piece.target)
        except FoamwrightError:
            continue  # verify has told why
        areas += sum(p.area for p in paths)
        far = max([far, *(p.bounds[3] for p in paths)])
    return areas, far


def _usable(record: Record, sheet: SheetEntry) -> Iterator[str]:
    """The usable stock keeps out of the machine's margins; fur is laid face down."""
    methods = [f.tool.get("method") for f in record.files if f.sheet == sheet.number]
    if not methods:
        return
    pair = (sheet.material, sheet.machine)
    method = cast(Method, methods[0])  # one that the proof has read
    material, machine = map(_values, best_entries(record, pair, method))
    margins = machine.get("margins", [0.0] * 4)
    left, near, right, far = sheet.usable
    room = (left, sheet.width - right, near, sheet.length - far)
    if any(r < m - ROUNDING for r, m in zip(room, margins, strict=False)):
        yield f"sheet {sheet.number}: its usable stock reaches into the machine's margins"
    back = material.get("cut_from", "front") == "back"
    if sheet.back != back:
        yield f"sheet {sheet.number}: back is {sheet.back}, its material is cut from the other side"


def _lain(record: Record) -> Iterator[Finding]:
    """V026: pieces whose grain runs where their material's nap or stretch does not let it."""
    sheets = {s.number: s for s in record.sheets}
    tools = {f.sheet: f.tool.get("method") for f in record.files}
    for piece in record.pieces:
        sheet = sheets.get(piece.sheet)
        if sheet is None or piece.grain is None or sheet.number not in tools:
            continue
        method = cast(Method, tools[sheet.number])
        material = _values(best_entries(record, (sheet.material, sheet.machine), method)[0])
        one_way = material.get("nap", "none") == "one-way"
        if not one_way and material.get("stretch", "none") == "none":
            continue
        turn = 360.0 if one_way else 180.0
        off = abs((piece.grain - 90.0 + turn / 2) % turn - turn / 2)
        if off > GRAIN_OFF:
            what = f"its grain runs {off:.1f} degrees off the way that {sheet.material} wants"
            yield fault("V026", piece.copy_name, what, _ANEW, piece.copy_name)


def _verification(record: Record, proof: Verification) -> Iterator[str]:
    """Where the record's own proof is not the one just made."""
    told = record.verification
    if told is None:
        return
    if not told.passed:
        yield "its own proof has not passed"
    if told.limit_mm != proof.limit_mm:
        yield f"its proof has a limit of {told.limit_mm:g} mm, not {proof.limit_mm:g}"
    if not proof.passed:
        return  # what was refused is told already
    apart = {
        "worst_deviation_mm": abs(told.worst_deviation_mm - proof.worst_deviation_mm),
        "left_mm": abs(told.left_mm - proof.left_mm),
        "unreached": abs(_deepest(told) - _deepest(proof)),
    }
    yield from (
        f"its proof's {key} is {gap:.4f} mm off that of its files"
        for key, gap in apart.items()
        if not gap <= PROOFS_APART
    )
    if len(told.unreached) != len(proof.unreached):
        yield f"it tells {len(told.unreached)} unreached places, there are {len(proof.unreached)}"
    if {p.copy_name for p in told.pieces} != {p.copy_name for p in record.pieces}:
        yield "its proof is not of its pieces"


def _deepest(proof: Verification) -> float:
    return max((u.depth for u in proof.unreached), default=0.0)


# Times and the operator's sheet


def _times(folder: Path, record: Record) -> Iterator[Finding]:
    """V042: sheets whose times are not those of their files' paths at the tool's limits."""
    texts = read_files(folder, record)
    for sheet in record.sheets:
        files = [f for f in record.files if (f.sheet, f.format) == (sheet.number, "svg")]
        for entry in files[:1]:
            due = _time_of(entry, sheet, texts.get(entry.name))
            if due is None or _fits(sheet.times_s, due):
                continue
            told, made = sheet.time_s, math.fsum(due.values())
            what = f"it tells {told:g} s ({_list(sheet.times_s)}), its paths take {made:.3f} s"
            yield fault("V042", f"{RECORD}, sheet {sheet.number}", f"{what} ({_list(due)})", _ANEW)


def _fits(told: Mapping[str, float], due: Mapping[str, float]) -> bool:
    return told.keys() == due.keys() and all(
        math.isclose(told[k], due[k], rel_tol=TIME_SHARE, abs_tol=TIME_S) for k in due
    )


def _list(times: Mapping[str, float]) -> str:
    return ", ".join(f"{k} {v:.3f}" for k, v in times.items()) or "no operation"


def _time_of(entry: FileEntry, sheet: SheetEntry, data: bytes | None) -> dict[str, float] | None:
    """Seconds of each operation as read back, or None where that can't be read."""
    try:
        tool = read_tool(entry.tool)
        if any(_unmeant(tool)):
            return None
        runs = read_svg(data or b"", entry, sheet).runs
    except (UnreadableError, BadToolError):
        return None
    paths = [r.path for r in runs if not r.people]
    if len(paths) != len(entry.contours):
        return None
    cuts: Sequence[Cut] = [
        Cut(c.copy_name, c.contour, cast(Operation, c.operation), p, c.band)
        for p, c in zip(paths, entry.contours, strict=True)
    ]
    return dict(operation_times(cuts, tool, HOME))


def _others(folder: Path, record: Record) -> Iterator[Finding]:
    """V043: the operator's sheet or an exchange file, missing, changed after the cut, or without
    its hash."""
    pages = [n for n in record.others if n.endswith(".html")]
    pages += [record.exchange.name] if record.exchange else []
    if record.verification is not None and (not pages or set(pages) - set(record.sealed)):
        what = "the record has no hash of the operator's sheet or the pattern exchange file"
        yield fault("V043", RECORD, what, _ANEW)
    for name, due in record.sealed.items():
        if Path(name).name != name:
            yield fault("V003", RECORD, f"{name!r} is not a plain file name", _ANEW)
            continue
        try:
            data = (folder / name).read_bytes()
        except OSError:
            yield fault("V043", name, "it is missing: it belongs with the cut files", _ANEW)
            continue
        if hashlib.sha256(data).hexdigest() != due:
            yield fault("V043", name, "it was changed after the cut", _ANEW)
