"""Make a drawing library's SVG fit for a page with many pictures.

Text stays text in the page's own face, colours become roles, identifiers become unique,
numbers short, and the picture carries its title and its text alternative.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from xml.etree import ElementTree

from analog.render.palette import resolve_markers

_SVG = "{http://www.w3.org/2000/svg}"
_XLINK = "{http://www.w3.org/1999/xlink}"
_REFERENCE = re.compile(r"url\(#([^)]+)\)")
_LONG_NUMBER = re.compile(r"-?\d+\.\d{3,}")
_FACE = re.compile(r"font-family:[^;]*;?|font: ([\d.]+px)[^;]*;?")
_NUMERIC = ("d", "x", "y", "transform", "points", "cx", "cy", "r", "width", "height")


@dataclass(frozen=True, slots=True)
class Inline:
    """An inline SVG and the same in words."""

    svg: str
    description: str


def finish(svg: str, identifier: str, title: str, description: str) -> Inline:
    """Return the picture as an inline SVG element whose identifiers begin with `identifier`."""
    root = ElementTree.fromstring(svg)
    _drop_metadata(root)
    for element in root.iter():
        _tidy(element, identifier)
    _drop_unused_identifiers(root)
    for size in ("width", "height"):
        root.attrib.pop(size, None)
    root.set("class", "figure")
    root.set("role", "img")
    root.set("aria-label", f"{title}. {description}")
    ElementTree.register_namespace("", _SVG.strip("{}"))
    return Inline(resolve_markers(ElementTree.tostring(root, encoding="unicode")), description)


def _drop_metadata(root: ElementTree.Element) -> None:
    """Remove what is for other programs, and the style rule that would reach the whole page."""
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag in (f"{_SVG}metadata", f"{_SVG}title", f"{_SVG}style"):
                parent.remove(child)


def _tidy(element: ElementTree.Element, identifier: str) -> None:
    link = element.attrib.pop(f"{_XLINK}href", None)
    if link is not None:
        element.set("href", f"#{identifier}-{link.removeprefix('#')}")
    if "id" in element.attrib:
        element.set("id", f"{identifier}-{element.attrib['id']}")
    for name, value in list(element.attrib.items()):
        value = _REFERENCE.sub(rf"url(#{identifier}-\1)", value)
        if name in _NUMERIC:
            value = _LONG_NUMBER.sub(_shorter, value)
        if name == "style":
            value = _FACE.sub(lambda face: f"font-size:{face[1]};" if face[1] else "", value)
        element.set(name, value)


def _shorter(number: re.Match[str]) -> str:
    return f"{float(number[0]):.2f}".rstrip("0").rstrip(".")


def _drop_unused_identifiers(root: ElementTree.Element) -> None:
    used = set()
    for element in root.iter():
        used.add(element.attrib.get("href", "").removeprefix("#"))
        for value in element.attrib.values():
            used.update(_REFERENCE.findall(value))
    for element in root.iter():
        if element.attrib.get("id", "") not in used:
            element.attrib.pop("id", None)
