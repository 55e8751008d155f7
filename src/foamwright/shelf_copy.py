"""A shop's own profile, made from one on the shelf: it says what differs and follows the rest.

The copy is `based_on` its original and shows the original's lines with a # before each, so that
what is measured there later, and all that its composition forbids, still holds here.
"""

from __future__ import annotations

import re
from pathlib import Path

from foamwright.findings import Refused, fault
from foamwright.inherit import Kind
from foamwright.names import readable, safe_name
from foamwright.profile_models import SCHEMA
from foamwright.profiles import FOLDER, Shelf, user_folder
from foamwright.shelf_writing import new_file

#: Tables that are not shown in a copy: they follow the original.
_LOGS = re.compile(r"\[\[(measured|result|blade_log)\]\]")
_OWN = re.compile(r"\s*(schema|based_on|name)\s*=")


def copy_profile(shelf: Shelf, kind: Kind, source: str, new: str | None) -> Path:
    """Writes the copy on the user's shelf and gives its file. new: its id, by default the same.

    Raises Refused where the original doesn't load, the id can't be a file's name or is taken.
    """
    loaded = shelf.material(source) if kind == "material" else shelf.machine(source)
    own = new or loaded.id
    if safe_name(own) != own:
        what, mend = f"{readable(own)} can't be an id", f"take {safe_name(own)}"
        raise Refused([fault("J543", readable(own), what, mend)])
    folder = user_folder()
    file = folder / FOLDER[kind] / f"{own}.toml"
    new_file(
        file, folder, _text(loaded.id, loaded.profile.name, own, _original(shelf, kind, source))
    )
    return file


def _original(shelf: Shelf, kind: Kind, source: str) -> str:
    file = shelf.file_of(kind, source)
    return file.read_text("utf-8-sig") if file is not None else ""


def _text(source: str, name: str, own: str, original: str) -> str:
    head = f"""\
# Our own {own}: what differs from {source} stands here, all else follows it.
# Below are its lines; take the # away from those that differ. A composition can only grow.
schema   = {SCHEMA}
based_on = "{source}"
name     = {_quoted(name if own == source else f"{name} (own)")}

"""
    lines = []
    skip = False
    for line in original.replace("\r\n", "\n").split("\n"):
        if line.startswith("["):
            skip = bool(_LOGS.match(line))
        if not skip and not _OWN.match(line):
            lines.append(f"# {line}".rstrip())
    return head + "\n".join(lines).rstrip("#\n ") + "\n"


def _quoted(text: str) -> str:
    import tomlkit

    return tomlkit.string(readable(text)[:200]).as_string()
