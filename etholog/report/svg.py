"""A figure as SVG within a page: no style attribute, so that the page may forbid them, and the page's own colours."""

import io
import re
from dataclasses import dataclass, field
from xml.etree import ElementTree

from markupsafe import Markup

from etholog.figures.style import ACTORS, FAINT, GAP, GAP_LINES, GROUND, INK, RULE, ReproducibleFigure, tint
from etholog.report.content import Picture, shown

SVG, XLINK = "{http://www.w3.org/2000/svg}", "{http://www.w3.org/1999/xlink}"
# Each colour that has to change on a dark page, and the page's name for it.
COLOURS = {INK: "ink", FAINT: "faint", RULE: "rule", GAP: "gap", GAP_LINES: "gap-lines", GROUND: "ground"}
COLOURS |= {look.colour: actor for actor, look in ACTORS.items()}
COLOURS |= {tint(look.colour): f"{actor}-tint" for actor, look in ACTORS.items()}
_COLOUR = re.compile("|".join(COLOURS))
_LONG_NUMBER = re.compile(r"-?\d+\.\d{3,}")
_GEOMETRY = {"d", "x", "y", "x1", "x2", "y1", "y2", "width", "height", "transform", "points"}


@dataclass
class Drawings:
    """Turns figures into SVG for one page. Letters, hatches and clips that they share are kept once, in `shared`.

    matplotlib names those by a digest of what they are, so the same name is the same thing in each figure.
    """

    _shared: dict[str, ElementTree.Element] = field(default_factory=dict)

    def picture(self, figure: ReproducibleFigure, caption: str, title: str) -> Picture:
        """Return the figure as an SVG element that a screen reader tells by `title`, with its caption."""
        root = ElementTree.parse(io.BytesIO(figure.content("svg", letters=True, transparent=True))).getroot()
        _, _, width, height = root.attrib["viewBox"].split()
        svg = ElementTree.Element("svg", {"viewBox": f"0 0 {width} {height}", "role": "img", "class": "figure"})
        svg.set("aria-label", shown(title))
        svg.extend(child for child in root if child.tag == SVG + "g")
        self._take_shared(root)
        for element in svg.iter():
            _plain(element)
        _prune(svg)
        return Picture(_written(svg), caption)

    @property
    def shared(self) -> Markup:
        """The SVG element that all others refer to; it has no size."""
        svg = ElementTree.Element("svg", {"class": "shared", "aria-hidden": "true", "width": "0", "height": "0"})
        defs = ElementTree.SubElement(svg, "defs")
        defs.extend(self._shared.values())
        return _written(svg)

    def _take_shared(self, root: ElementTree.Element) -> None:
        for parent in list(root.iter()):
            for defs in parent.findall(SVG + "defs"):
                for element in defs:
                    name = element.get("id")
                    if name is not None and name not in self._shared:
                        for part in element.iter():
                            _plain(part, named=part is element)
                        self._shared[name] = element
                parent.remove(defs)


def _plain(element: ElementTree.Element, named: bool = False) -> None:
    """Make an element fit for HTML: no namespace, attributes for its style, no name that nothing refers to."""
    element.tag = element.tag.removeprefix(SVG)
    element.tail = None
    if element.text is not None and not element.text.strip():
        element.text = None
    style = element.attrib.pop("style", "")
    for rule in filter(None, map(str.strip, style.split(";"))):
        name, _, value = rule.partition(":")
        if name.strip() != "font-family":  # the page's own
            element.set(name.strip(), value.strip())
    if not named:
        element.attrib.pop("id", None)
    link = element.attrib.pop(XLINK + "href", None)
    if link is not None:
        element.set("href", link)
    for name, value in element.attrib.items():
        if name in _GEOMETRY:
            element.set(
                name,
                _LONG_NUMBER.sub(
                    lambda number: f"{float(number[0]):.2f}".rstrip("0").rstrip("."), " ".join(value.split())
                ),
            )
        elif name in ("fill", "stroke"):
            element.set(name, _COLOUR.sub(lambda colour: f"var(--{COLOURS[colour[0]]})", value))


def _prune(parent: ElementTree.Element) -> None:
    """Take out groups that only hold others, and what can't be seen."""
    kept: list[ElementTree.Element] = []
    for child in list(parent):
        _prune(child)
        unseen = child.get("fill") == "none" and "stroke" not in child.attrib
        if child.tag == "g" and not child.attrib:
            kept += list(child)
        elif not unseen and (child.tag != "g" or len(child)):
            kept.append(child)
    parent[:] = kept


def _written(svg: ElementTree.Element) -> Markup:
    # Markup is right here: ElementTree has escaped all text and attributes.
    return Markup(ElementTree.tostring(svg, encoding="unicode", short_empty_elements=False))
