"""A figure as SVG within a page: no style attribute, so that the page may forbid them, and the page's own colours."""

import io
import multiprocessing
import os
import re
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol, TypeVar
from xml.etree import ElementTree

from markupsafe import Markup

from etholog.base.colours import ACTORS, FAINT, GAP, GAP_LINES, GROUND, INK, RULE, tint
from etholog.report import drawing
from etholog.report.content import Picture, shown

if TYPE_CHECKING:
    from etholog.figures.style import ReproducibleFigure, Size

Result = TypeVar("Result")
MOST_PROCESSES = 4
SIZES: "tuple[Size, Size]" = ("page", "column")
SVG, XLINK = "{http://www.w3.org/2000/svg}", "{http://www.w3.org/1999/xlink}"
# Each colour that has to change on a dark page, and the page's name for it.
COLOURS = {INK: "ink", FAINT: "faint", RULE: "rule", GAP: "gap", GAP_LINES: "gap-lines", GROUND: "ground"}
COLOURS |= {colour: actor for actor, colour in ACTORS.items()}
COLOURS |= {tint(colour): f"{actor}-tint" for actor, colour in ACTORS.items()}
_COLOUR = re.compile("|".join(COLOURS))
_LONG_NUMBER = re.compile(r"-?\d+\.\d{3,}")
_GEOMETRY = {"d", "x", "y", "x1", "x2", "y1", "y2", "width", "height", "transform", "points"}


@dataclass(frozen=True)
class Drawn:
    """A figure as SVG. Letters, hatches and clips that figures of a page may share stand apart, by name.

    matplotlib names those by a digest of what they are, so the same name is the same thing in each figure.
    """

    svg: str
    shared: dict[str, str]


class Drawing(Protocol):
    """A figure that is drawn, or being drawn in another process."""

    def result(self) -> Drawn:
        """Return it, once it is there."""


@dataclass(frozen=True)
class Done:
    """A figure that was drawn at once."""

    drawn: Drawn

    def result(self) -> Drawn:
        """Return it."""
        return self.drawn


@dataclass(frozen=True)
class Figure:
    """A figure's place in the page; its template asks for `__html__` when all else is known."""

    drawing: Drawing

    def __html__(self) -> str:
        return self.drawing.result().svg


@dataclass
class Drawings:
    """Turns figures into SVG for one page, in other processes where there is a `pool`; what they share is kept once."""

    pool: Executor | None = None
    _all: list[Drawing] = field(default_factory=list)

    def picture(self, draw: "Callable[..., ReproducibleFigure]", caption: str, title: str) -> Picture:
        """Return the figure as SVG for a wide page and for a narrow one, told to a screen reader by `title`."""
        wide, narrow = (self._figure(draw, size, title) for size in SIZES)
        return Picture(wide, narrow, caption)

    def ahead(self, work: Callable[[], Result]) -> Callable[[], Result]:
        """Return what gives the work's result, which another process begins at once where there is one."""
        return self.pool.submit(work).result if self.pool else work

    def _figure(self, draw: "Callable[..., ReproducibleFigure]", size: "Size", title: str) -> Figure:
        one: Drawing = self.pool.submit(drawn, draw, size, title) if self.pool else Done(drawn(draw, size, title))
        self._all.append(one)
        return Figure(one)

    @property
    def shared(self) -> Markup:
        """The SVG element that all others refer to; it has no size."""
        parts: dict[str, str] = {}
        for one in self._all:
            parts |= one.result().shared
        # Markup is right here: ElementTree has escaped all text and attributes.
        return Markup(
            '<svg class="shared" aria-hidden="true" width="0" height="0"><defs>'
            + "".join(parts.values())
            + "</defs></svg>"
        )


@contextmanager
def processes() -> Iterator[Executor | None]:
    """Yield processes that draw, one for each processor; None where there is one processor only.

    They are forked where the system can, since each would else import all anew, and load what draws while a season is
    read here. Enter this before any thread begins.
    """
    count = min(MOST_PROCESSES, _processors())
    if count < 2 or "fork" not in multiprocessing.get_all_start_methods():
        yield None
        return
    context = multiprocessing.get_context("fork")
    pool = ProcessPoolExecutor(count, context, initializer=_begin)
    pool.submit(int)  # now they are there
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


def _begin() -> None:
    """Begin a process that draws: Ctrl-C is its parent's, and it ends with its parent, however that ended."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    drawing.load()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _processors() -> int:
    return len(os.sched_getaffinity(0)) if sys.platform == "linux" else os.cpu_count() or 1


def drawn(draw: "Callable[..., ReproducibleFigure]", size: "Size", title: str) -> Drawn:
    """Return a figure of this size as SVG that a screen reader tells by `title`."""
    root = ElementTree.parse(io.BytesIO(draw(size=size).page_svg())).getroot()
    _, _, width, height = root.attrib["viewBox"].split()
    svg = ElementTree.Element("svg", {"viewBox": f"0 0 {width} {height}", "role": "img"})
    svg.set("class", f"figure {size}")
    svg.set("aria-label", shown(title))
    svg.extend(child for child in root if child.tag == SVG + "g")
    shared = _shared(root)
    for element in svg.iter():
        _plain(element)
    _prune(svg)
    return Drawn(_written(svg), shared)


def _shared(root: ElementTree.Element) -> dict[str, str]:
    """Take out what figures may share, and return it by name."""
    found: dict[str, str] = {}
    for parent in list(root.iter()):
        for defs in parent.findall(SVG + "defs"):
            for element in defs:
                name = element.get("id")
                if name is not None and name not in found:
                    for part in element.iter():
                        _plain(part, named=part is element)
                    found[name] = _written(element)
            parent.remove(defs)
    return found


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


def _written(element: ElementTree.Element) -> str:
    return ElementTree.tostring(element, encoding="unicode", short_empty_elements=False)
