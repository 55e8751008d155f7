"""A test coupon: made into a small job of its own and cut by the very pipeline that cuts any job.

The job stands in a folder that is thrown away: a drawing, the shelf that the asking job sees, and
over it one profile more, the material's own settings with no kerf, so that a part lacks what the
tool took.  A drag knife's steps are profiles based on the machine.  The hazard rules hold as ever.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import tomlkit

from foamwright import pipeline
from foamwright.asked import Request
from foamwright.coupon_design import Design, Part, design, drawing, title_of
from foamwright.derive import settings_for
from foamwright.findings import Refused, fault
from foamwright.finishing import Result
from foamwright.inherit import Kind
from foamwright.measured import given
from foamwright.profile_models import SCHEMA, CutSettings, MachineProfile, MaterialProfile
from foamwright.profiles import FOLDER, Loaded, Shelf, is_path
from foamwright.strict_toml import read_toml
from foamwright.word_tables import WordTable

#: Keys of a cut that a coupon leaves out: the kerf is nought, and nothing holds a part.
_LEFT_OUT = frozenset(
    {"kerf", "kerf_x", "kerf_y", "kerf_exit", "at", "bridges", "basis", "bases", "source"}
)
#: Numbers of a cut that are written bare.
_BARE = frozenset({"passes", "edge_angle", "swivel_angle", "lead_angle", "m2"})


def cut_coupon(material: str, machine: str, out: Path, job: Path | None = None) -> Result:
    """Cuts the coupon of a material on a machine into `out`, proven as any cut.

    job: whose shelf and permits are used.  Raises Refused, CommandError.
    """
    shelf = Shelf.of(job.parent, base=Path()) if job else Shelf.of()
    stuff, gear = shelf.material(material), shelf.machine(machine)
    if gear.profile.method == "hand":
        what = "what is cut by hand has no kerf and no offset to find"
        raise Refused([fault("J551", f"{stuff.id} on {gear.id}", what, "name a machine")])
    made = design(
        gear.profile.method,
        stuff.profile.thickness,
        stuff.profile.severed,
        gear.profile.blade_offset,
    )
    with tempfile.TemporaryDirectory(prefix="coupon-") as name:
        folder = Path(name)
        if job is not None and (job.parent / "profiles").is_dir():
            shutil.copytree(job.parent / "profiles", folder / "profiles")
        _take_up(shelf, folder, "material", material)
        _take_up(shelf, folder, "machine", machine)
        _put_profiles(folder, stuff, gear, made)
        _put_job(folder, stuff, gear, made, job)
        request = Request.of(folder / "job.toml", layout_time=0)
        return pipeline.cut(replace(request, measuring=(_table(made),)), out)


def _table(made: Design) -> WordTable:
    rows = [*made.rows]
    rows += [(f"file with {v.name}", f"Set before it: {v.told}.", "") for v in made.variants]
    title = "What to measure, and where"
    return WordTable(title, ("place", "what to do", "what follows"), frozenset(), tuple(rows))


# ------------------------------------------------------------------------------- profiles


def _take_up(shelf: Shelf, folder: Path, kind: Kind, reference: str) -> None:
    """A profile that was named by its file, into the coupon's own layer."""
    file = shelf.file_of(kind, reference)
    if is_path(reference) and file is not None:
        place = folder / "profiles" / FOLDER[kind] / file.name
        place.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(file, place)


def _put_profiles(
    folder: Path, stuff: Loaded[MaterialProfile], gear: Loaded[MachineProfile], made: Design
) -> None:
    """The material without kerf, the machine without its own, and its variants."""
    cut = _without_kerf(settings_for(gear.profile, stuff.profile), gear.profile)
    if made.variants:
        del cut["machine"]  # it serves every variant
    _put(folder, "material", stuff.id, {}, cut)
    if "kerf" in gear.profile.applies:
        plain = [a for a in gear.profile.applies if a != "kerf"]
        _put(folder, "machine", gear.id, {"applies": plain}, None)
    for v in made.variants:
        values = {"schema": SCHEMA, "based_on": gear.id, "name": f"{gear.profile.name}: {v.told}"}
        if v.offset is not None:
            values["blade_offset"] = f"{v.offset:g} mm"
        _write(folder, "machine", f"{gear.id}-{v.name}", values)


def _without_kerf(cut: CutSettings, machine: MachineProfile) -> dict[str, Any]:
    """The settings as a `[[cut]]` of this machine, with no kerf."""
    told: dict[str, Any] = {"method": cut.method, "machine": machine.id}
    told |= {"tool": cut.tool} if cut.tool else {}
    bases = {}
    for key in given(cut):
        if key not in _LEFT_OUT:
            told[key] = _written(key, getattr(cut, key))
            bases[key] = "estimate" if cut.basis_of(key) == "estimate" else "published"
    if cut.method == "laser":
        told["kerf"] = "0 mm"
    known = cut.source or "the profile's own settings"
    return {**told, "bases": bases, "source": f"a coupon: no kerf; else {known}"[:200]}


def _written(key: str, value: Any) -> Any:
    if isinstance(value, bool) or not isinstance(value, int | float) or key in _BARE:
        return value
    return f"{value:.9g} {'mm/s' if key == 'speed' else 'mm'}"


def _put(
    folder: Path,
    kind: Kind,
    profile_id: str,
    values: Mapping[str, Any],
    cut: Mapping[str, Any] | None,
) -> None:
    """A profile in the coupon's own layer that stands before the one of the same id.

    One that the asking job has beside it is taken up into it, since a layer has an id once.
    """
    beside = folder / "profiles" / FOLDER[kind] / f"{profile_id}.toml"
    base: dict[str, Any] = {"schema": SCHEMA, "based_on": profile_id}
    if beside.exists():
        base = dict(read_toml(beside).data)
    aim = ("method", "machine", "tool")
    cuts = [
        c
        for c in base.get("cut", ())
        if cut and (c.get("operation") == "score" or any(c.get(k) != cut.get(k) for k in aim))
    ]
    table = {**base, **values}
    table.pop("measured", None)
    if cut is not None:
        table["cut"] = [*cuts, dict(cut)]
    _write(folder, kind, profile_id, table)


def _write(folder: Path, kind: Kind, profile_id: str, values: Mapping[str, Any]) -> None:
    file = folder / "profiles" / FOLDER[kind] / f"{profile_id}.toml"
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(tomlkit.dumps(dict(values)), encoding="utf-8", newline="\n")


# ------------------------------------------------------------------------------- the job


def _put_job(
    folder: Path,
    stuff: Loaded[MaterialProfile],
    gear: Loaded[MachineProfile],
    made: Design,
    asking: Path | None,
) -> None:
    letters = gear.profile.marks_by in ("pen", "score")
    text = drawing(made.parts, letters)
    (folder / "coupon.svg").write_text(text, encoding="utf-8", newline="\n")
    first = made.variants[0].name if made.variants else ""
    job: dict[str, Any] = {
        "schema": 1,
        "job": {"name": title_of(stuff.id, gear.id), "machine": gear.id},
        "piece": [_piece(p, stuff.id, gear.id, p.variant or first) for p in made.parts],
    }
    permits = _permits(asking)
    if permits:
        job["permit"] = permits
    (folder / "job.toml").write_text(tomlkit.dumps(job), encoding="utf-8", newline="\n")


def _piece(part: Part, material: str, machine: str, variant: str) -> dict[str, Any]:
    return {
        "name": part.name,
        "outline": f"coupon.svg#{part.name}",
        "drawn": "cut-line",
        "material": material,
        "machine": f"{machine}-{variant}" if variant else machine,
        "count": part.count,
    }


def _permits(asking: Path | None) -> list[Any]:
    """The permits of the asking job, which count here as they do there."""
    if asking is None:
        return []
    listed = read_toml(asking).data.get("permit", [])
    return list(listed) if isinstance(listed, list) else []
