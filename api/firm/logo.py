"""Sanitise the firm's logo: PNG is re-encoded, SVG keeps only shapes."""

from __future__ import annotations

import io
import re
from dataclasses import dataclass
from xml.etree import ElementTree

from PIL import Image

from fieldfare.analysis.errors import InputError

LARGEST_FILE = 500_000
"""Bytes as it is given."""
LARGEST_KEPT = 60_000
"""Bytes as it stands on every paper."""
WIDE_PX, HIGH_PX = 480, 160
"""Twice the size at which it is shown, so that it prints clearly."""
MOST_PIXELS = 16_000_000
MOST_ELEMENTS = 2_000
PNG, SVG = "image/png", "image/svg+xml"
_PNG_MARK = b"\x89PNG\r\n\x1a\n"
_NS = "{http://www.w3.org/2000/svg}"
_ELEMENTS = frozenset(
    [
        "svg",
        "g",
        "path",
        "rect",
        "circle",
        "ellipse",
        "line",
        "polyline",
        "polygon",
        "title",
        "desc",
        "defs",
        "linearGradient",
        "radialGradient",
        "stop",
        "clipPath",
        "text",
        "tspan",
    ]
)
_ATTRIBUTES = frozenset(
    [
        "id",
        "d",
        "x",
        "y",
        "x1",
        "y1",
        "x2",
        "y2",
        "cx",
        "cy",
        "r",
        "rx",
        "ry",
        "fx",
        "fy",
        "width",
        "height",
        "points",
        "viewBox",
        "preserveAspectRatio",
        "transform",
        "fill",
        "stroke",
        "fill-rule",
        "clip-rule",
        "clip-path",
        "fill-opacity",
        "stroke-opacity",
        "stroke-width",
        "stroke-linecap",
        "stroke-linejoin",
        "stroke-miterlimit",
        "stroke-dasharray",
        "opacity",
        "offset",
        "stop-color",
        "stop-opacity",
        "gradientUnits",
        "gradientTransform",
        "spreadMethod",
        "clipPathUnits",
        "font-family",
        "font-size",
        "font-weight",
        "text-anchor",
    ]
)
_LOCAL = re.compile(r"url\(\s*['\"]?#[A-Za-z0-9_.:-]+['\"]?\s*\)")


@dataclass(frozen=True)
class Logo:
    """A sanitised logo.

    left_out : names of removed SVG elements, which could load or run something
    """

    content: bytes
    kind: str
    left_out: tuple[str, ...] = ()


def safe_logo(content: bytes) -> Logo:
    """Return a PNG or SVG without active content. Raises InputError with the problem and what is allowed."""
    if not content:
        raise InputError("the file is empty; choose a PNG or an SVG")
    if len(content) > LARGEST_FILE:
        raise InputError(
            f"the file has {len(content) // 1000} kB; a logo has up to {LARGEST_FILE // 1000} kB"
        )
    if content.startswith(_PNG_MARK):
        return Logo(_drawn_anew(content), PNG)
    if b"<svg" in content[:5000]:
        return _shapes_alone(content)
    raise InputError("the file is neither a PNG nor an SVG; save the logo as one of these")


def _drawn_anew(content: bytes) -> bytes:
    """Re-encode a PNG at the needed size, without metadata."""
    try:
        with Image.open(io.BytesIO(content), formats=["PNG"]) as image:
            if image.width * image.height > MOST_PIXELS:
                raise InputError(f"the picture has {image.width} x {image.height} pixels; make it smaller")
            image.load()
            drawn = image.convert("RGBA")
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError):
        raise InputError("the PNG is damaged; save the logo again") from None
    drawn.thumbnail((WIDE_PX, HIGH_PX), Image.Resampling.LANCZOS)
    for colours in (None, 128, 32):
        out = io.BytesIO()
        (drawn if colours is None else drawn.quantize(colours)).save(out, "PNG", optimize=True)
        if out.tell() <= LARGEST_KEPT:
            return out.getvalue()
    raise InputError("the picture holds too much detail for a logo; save a simpler one")


def _shapes_alone(content: bytes) -> Logo:
    """Keep only the elements and attributes of the two lists above, and references within the file."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("the SVG is not UTF-8 text; save it again") from None
    if "<!DOCTYPE" in text or "<!ENTITY" in text:
        text = re.sub(r"<!DOCTYPE[^\[>]*>", "", text, count=1)
        if "<!DOCTYPE" in text or "<!ENTITY" in text:
            raise InputError("the SVG defines entities, which a logo does not need; save it as plain SVG")
    try:
        root = ElementTree.fromstring(text)  # noqa: S314 (no entities are left)
    except ElementTree.ParseError as error:
        line = error.position[0]
        raise InputError(f"the SVG can't be read: line {line} is no XML; save it again") from None
    if root.tag != f"{_NS}svg":
        raise InputError("the SVG does not begin with <svg> in the namespace of SVG; save it again")
    if sum(1 for _ in root.iter()) > MOST_ELEMENTS:
        raise InputError(f"the SVG has more than {MOST_ELEMENTS} elements; save a simpler one")
    left_out: dict[str, None] = {}
    _clean(root, left_out)
    _sized(root)
    if not any(child.tag.rpartition("}")[2] not in ("title", "desc", "defs") for child in root):
        raise InputError("the SVG draws nothing that may be shown; save it with paths, or as a PNG")
    ElementTree.register_namespace("", _NS.strip("{}"))
    out = ElementTree.tostring(root, encoding="utf-8")
    if len(out) > LARGEST_KEPT:
        raise InputError(
            f"the SVG has {len(out) // 1000} kB; a logo has up to {LARGEST_KEPT // 1000} kB, or is a PNG"
        )
    return Logo(out, SVG, tuple(left_out))


def _clean(element: ElementTree.Element, left_out: dict[str, None]) -> None:
    for name in list(element.attrib):
        value = element.attrib[name]
        bare = _LOCAL.sub("", value)
        if name not in _ATTRIBUTES or "url(" in bare.lower() or ":" in bare or "\\" in bare:
            if name not in _ATTRIBUTES and not name.startswith("{"):
                left_out[name] = None
            del element.attrib[name]
    for child in list(element):
        tag = child.tag if isinstance(child.tag, str) else ""
        if tag.startswith(_NS) and tag[len(_NS) :] in _ELEMENTS:
            _clean(child, left_out)
            continue
        if tag.startswith(_NS):
            left_out[tag[len(_NS) :]] = None
        element.remove(child)


def _sized(root: ElementTree.Element) -> None:
    """Ensure a viewBox, which scaling needs. Raises InputError if the size is unknown."""
    box = root.get("viewBox", "")
    if not re.fullmatch(r"\s*-?[\d.]+([\s,]+-?[\d.]+){3}\s*", box):
        size = [re.fullmatch(r"([\d.]+)(px)?", root.get(name, "")) for name in ("width", "height")]
        if not all(size):
            raise InputError("the SVG tells no size; give it a viewBox, or save the logo as a PNG")
        root.set("viewBox", " ".join(["0", "0", *(found[1] for found in size if found)]))
    root.attrib.pop("width", None)
    root.attrib.pop("height", None)
