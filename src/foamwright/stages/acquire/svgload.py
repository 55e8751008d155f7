"""An SVG file's bytes into an element tree, with nothing fetched and nothing run.

Entities that the file itself defines are resolved (within the parser's own bounds); external ones,
DTDs and the network are not touched.  A file that is no well-formed SVG gives a finding.
"""

from __future__ import annotations

from typing import Any

from lxml import etree

from foamwright.findings import Finding, fault, note
from foamwright.stages.acquire.svgstyle import Element, StyleSheet, local_name

SVG = "http://www.w3.org/2000/svg"


def parse_tree(data: bytes, name: str) -> tuple[Element | None, tuple[Finding, ...]]:
    """The root `svg` element, or None with the fault."""
    internal: Any = "internal"  # the stubs know true and false only
    parser = etree.XMLParser(
        resolve_entities=internal,
        no_network=True,
        load_dtd=False,
        huge_tree=False,
        remove_comments=True,
        remove_pis=True,
    )
    try:
        root = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as why:
        line = f"{name} line {why.lineno}" if why.lineno else name
        told = " ".join(str(why.msg).split())
        mend = "export the drawing again as plain SVG"
        return None, (fault("R201", line, f"the XML is broken: {told}", mend),)
    except (ValueError, LookupError) as why:
        return None, (fault("R201", name, f"can't be read as XML: {why}"),)
    if local_name(root) != "svg" or namespace(root) not in (SVG, ""):
        what = f"is XML, but its root is {local_name(root)!r}, not an SVG drawing"
        return None, (fault("R002", name, what, "give an SVG or a DXF"),)
    if namespace(root) == "":
        what = "doesn't name the SVG namespace; read as SVG all the same"
        return root, (note("R211", name, what),)
    return root, ()


def namespace(el: Element) -> str:
    tag = el.tag
    return tag[1:].partition("}")[0] if isinstance(tag, str) and tag.startswith("{") else ""


def ids(root: Element) -> dict[str, Element]:
    """Elements by id; of two equal ids the first counts."""
    found: dict[str, Element] = {}
    for el in root.iter():
        name = el.get("id") if isinstance(el.tag, str) else None
        if name:
            found.setdefault(name, el)
    return found


def namespaces(root: Element) -> frozenset[str]:
    """The namespaces of SVG elements here: the root's own.

    Elements that come out of an entity don't get the document's default namespace from the parser:
    in a document that defines entities, those without one count as SVG too.
    """
    dtd: Any = root.getroottree().docinfo.internalDTD
    entities = dtd is not None and any(True for _ in dtd.iterentities())
    return frozenset({namespace(root), ""} if entities else {namespace(root)})


def style_sheet(root: Element, spaces: frozenset[str]) -> StyleSheet:
    """All the document's `style` elements, in order."""
    sheet = StyleSheet()
    for el in root.iter(*(f"{{{ns}}}style" if ns else "style" for ns in spaces)):
        kind = (el.get("type") or "text/css").strip().lower()
        media = (el.get("media") or "all").strip().lower()
        if kind in ("", "text/css") and media in ("all", "screen"):
            sheet.add("".join(map(str, el.itertext())))
    return sheet
