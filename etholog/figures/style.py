"""What all figures share: colours, hatches and line styles, sizes, and files that are the same byte for byte."""

import io
import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal
from unicodedata import bidirectional

import matplotlib
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Path_
from matplotlib.text import Text
from matplotlib.ticker import ScalarFormatter
from numpy.typing import ArrayLike

from etholog.analysis import columns
from etholog.analysis.survival import LIMITS_LEAST
from etholog.base import colours
from etholog.base.clock import round_times, seconds_face
from etholog.base.colours import FAINT, GAP, GAP_LINES, GROUND, INK, tint
from etholog.base.language import ENGLISH, current, digits, gettext
from etholog.base.text import drawable, in_words
from etholog.fonts import families
from etholog.season import Season

Size = Literal["column", "page"]
# Inches: 89 and 183 mm, one and two columns of most journals (common practice, no source).
WIDTH: dict[Size, float] = {"column": 3.5, "page": 7.2}

LEFT_TO_RIGHT = "\u200e"  # the mark of Unicode Standard Annex 9: nothing is seen of it
LONGEST = 48  # characters that are drawn of a text: more leave a figure no room, and a million take minutes


@dataclass(frozen=True)
class Look:
    """How an actor or a group is drawn: the hatch and the line style say it again where there is no colour."""

    colour: str
    hatch: str
    line: Any


ACTORS = {
    "male": Look(colours.ACTORS["male"], "", "-"),
    "female": Look(colours.ACTORS["female"], "/////", "--"),
    "pair": Look(colours.ACTORS["pair"], "xxxxx", "-."),
    "keeper": Look(colours.ACTORS["keeper"], "|||||", ":"),
}
# Groups have colours of Okabe & Ito 2008 that no actor has.
GROUPS = (Look(INK, "", "-"), Look("#e69f00", "/////", "--"), Look("#56b4e9", "-----", "-."))

GROUPS_AND_MORE = (*GROUPS, *ACTORS.values())  # for more than three lines; beyond these they come again


_RULES: dict[Any, Any] = {
    "font.family": "DejaVu Sans",  # it comes with matplotlib, so it is the same everywhere
    "font.size": 8,
    "axes.titlesize": 9,
    "axes.titlelocation": "left",
    "axes.titley": 1.0,  # where it is anyway; matplotlib would measure every tick to find that out
    "axes.labelsize": 8,
    "axes.linewidth": 0.6,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.titlecolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 7,
    "ytick.labelsize": 7,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "hatch.linewidth": 0.5,
    "lines.scale_dashes": False,
    "legend.frameon": False,
    "legend.fontsize": 7,
    "figure.facecolor": GROUND,
    "axes.facecolor": "none",
    "savefig.dpi": 200,
    "svg.fonttype": "path",
    "svg.hashsalt": "etholog",
    "pdf.fonttype": 42,
    "ps.fonttype": 42,
}
# Control characters, which no XML can hold, are left out of a page; names of artists may have them.
_NO_XML = dict.fromkeys((*range(9), 11, 12, *range(14, 32), *range(0xD800, 0xE000), 0xFFFE, 0xFFFF))
# No date and no version: the same table gives the same file.
_SILENT: dict[str, dict[str, Any]] = {
    "svg": {"Date": None, "Creator": None},
    "pdf": {"CreationDate": None, "Creator": None, "Producer": None},
    "png": {"Software": None},
}


@contextmanager
def rules() -> Iterator[None]:
    """Draw by our settings, whatever the user's own are."""
    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(_RULES)
        yield


class SpokenNumbers(ScalarFormatter):
    """Numbers beside an axis in the language that is spoken: matplotlib knows that of the system alone."""

    def __call__(self, x: float, pos: int | None = None) -> str:
        """Return the words of a tick."""
        return digits(super().__call__(x, pos))


class ReproducibleFigure(Figure):
    """A matplotlib Figure whose files hold their fonts and are the same byte for byte, and that notebooks show."""

    def savefig(self, fname: Any, letters: bool = False, **options: Any) -> None:
        """Save as `Figure.savefig` does: SVG, PDF or PNG. `letters`: an SVG's words as words, not as outlines, for a
        page that has its own fonts."""
        kind = options.get("format") or (Path(fname).suffix[1:] if isinstance(fname, str | Path) else "png")
        with rules(), warnings.catch_warnings():
            # A letter that no font has is drawn as a box; that is told by the picture.
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
            if letters:
                matplotlib.rcParams["svg.fonttype"] = "none"
            options["metadata"] = _SILENT.get(kind.lower(), {}) | (options.get("metadata") or {})
            self._name_safely()
            self._write_numbers()
            self._find_letters()
            super().savefig(fname, **options)

    def content(self, kind: str, **options: Any) -> bytes:
        """Return the file's content; `kind` is svg, pdf or png."""
        held = io.BytesIO()
        self.savefig(held, format=kind, **options)
        return held.getvalue()

    def page_svg(self) -> bytes:
        """Return the figure as an SVG with its words as words and no ground, for a page that has its own.

        As `content` does it, but laid out and drawn once: saving draws once more, only to lay out.
        """
        held = io.StringIO()
        with rules(), warnings.catch_warnings():
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
            matplotlib.rcParams["svg.fonttype"] = "none"
            self._leave_labels()
            self._write_numbers()
            canvas, engine, dpi = FigureCanvasSVG(self), self.get_layout_engine(), self.dpi
            self.dpi = 72  # the points in which an SVG is measured
            if engine is not None:
                engine.execute(self)
            self.patch.set(facecolor="none", edgecolor="none")
            self.set_layout_engine("none")
            canvas.print_svg(held, metadata=_SILENT["svg"])  # type: ignore[no-untyped-call]
            self.dpi = dpi
        return held.getvalue().translate(_NO_XML).encode()

    def _leave_labels(self) -> None:
        """Spare matplotlib the search for a place of the axes' labels that say nothing."""
        for axes in self.axes:
            for axis in (axes.xaxis, axes.yaxis):
                if not axis.label.get_text():
                    axis.set_label_coords(0, 0)

    def _write_numbers(self) -> None:
        """Write the numbers beside the axes as the language that is spoken does."""
        if current() == ENGLISH:
            return
        for axes in self.axes:
            for axis in (axes.xaxis, axes.yaxis):
                if type(axis.get_major_formatter()) is ScalarFormatter:
                    axis.set_major_formatter(SpokenNumbers())

    def _find_letters(self) -> None:
        """Draw letters that our font lacks in an installed one that has them."""
        texts = self.findobj(Text)
        letters = {
            (letter, "bold" if text.get_fontweight() == "bold" else "normal")
            for text in texts
            for letter in "".join(text.get_text().split())
        }
        found, _ = families(letters)
        if found != matplotlib.rcParams["font.family"]:
            for text in texts:
                text.set_fontfamily(found)

    def _name_safely(self) -> None:
        """An SVG keeps the artists' names, and no XML can hold a control character."""
        for artist in self.findobj(lambda artist: artist.get_gid() is not None):
            artist.set_gid(drawable(str(artist.get_gid()), LONGEST))

    def _repr_png_(self) -> bytes:
        return self.content("png")


def plate(size: Size, height: float) -> ReproducibleFigure:
    """Return an empty figure of this width and a height in inches. Call it within `rules`."""
    return ReproducibleFigure(figsize=(WIDTH[size], height), layout="constrained")


TALLEST = 60.0  # inches of rows: beyond some 300 an image has more points than its format holds
LEGIBLE = 0.1  # inches a row, below which names would lie on one another


def rows_of(count: int, inches: float) -> tuple[float, bool]:
    """Return the height in inches of `count` rows that should be `inches` high each, and whether names fit beside
    them."""
    height = min(count * inches, TALLEST)
    return height, height / max(count, 1) >= LEGIBLE


def names(season: Season) -> dict[str, str]:
    """Return the labels of all behaviours by their codes, in the order of the ethograms.

    Parameters
    ----------
    season: as `etholog.read` returned it.

    Returns
    -------
    A dict from codes to labels, in the order of the ethograms.

    Raises
    ------
    Refusal: for what is no season.

    >>> import etholog
    >>> season = etholog.read("examples/season")
    >>> etholog.figures.names(season)["drumming"]
    'palpal drumming'
    """
    columns.season(season)
    return season.labels


def stages(season: Season) -> dict[str, str]:
    """Return the stage of a pairing that each behaviour belongs to, by its code; those of none are left out.

    Parameters
    ----------
    season: as `etholog.read` returned it.

    Returns
    -------
    A dict from codes to stages, such as 'courtship'.

    Raises
    ------
    Refusal: for what is no season.

    >>> import etholog
    >>> etholog.figures.stages(etholog.read("examples/season"))["drumming"]
    'courtship'
    """
    columns.season(season)
    return season.stages


def label(code: str, named: Mapping[str, str] | None) -> str:
    """Return a behaviour's label, or its code in words; `insertion:left` becomes `insertion, left`."""
    return plain(in_words(str(code), named or {}))


def plain(text: str, longest: int = LONGEST) -> str:
    """Return what somebody typed as matplotlib may draw it: one line, not too long, no controls, no mathematics in
    dollars. What is written from right to left turns none of the words and numbers round that follow it."""
    shown = drawable(text, longest).replace("$", r"\$")
    turned = not shown.isascii() and any(bidirectional(letter) in ("R", "AL") for letter in shown)
    return f"{LEFT_TO_RIGHT}{shown}{LEFT_TO_RIGHT}" if turned else shown


def title(times: pd.DataFrame) -> str:
    """Return what a table of latencies is about, as a title."""
    told = drawable(str(times.attrs.get("label", "latency")), 2 * LONGEST)
    return (told[:1].upper() + told[1:]).replace("$", r"\$")


def minutes(axes: Axes, end: float, most: int) -> None:
    """Label the horizontal axis, which is in seconds, as a clock does."""
    at = round_times(end, most)
    axes.set_xticks(at, [seconds_face(tick) for tick in at])


def actor_ticks(axes: Axes, actors: Sequence[str]) -> None:
    """Give each lane's label a short bar in its actor's colour; the words stay black, to be read in any light."""
    axes.tick_params(axis="y", length=4, pad=3)
    for tick, actor in zip(axes.yaxis.get_major_ticks(), actors, strict=False):
        tick.tick1line.set(markeredgecolor=ACTORS[actor].colour, markeredgewidth=7)


def nothing(size: Size, why: str) -> ReproducibleFigure:
    """Return a figure that says why there is nothing to draw."""
    figure = plate(size, 1.0)
    figure.set_layout_engine("none")  # which would warn that it has nothing to lay out
    figure.text(0.5, 0.5, why, ha="center", va="center", color=FAINT, wrap=True)
    return figure


def no_limits(few: bool) -> str:
    """Return why a curve has no limits: too few were watched, or one animal counts more than once."""
    if few:
        return gettext("No limits: under {count} have been watched.", count=LIMITS_LEAST)
    return gettext("No limits: an animal is in it more than once.")


def filled(look: Look) -> dict[str, Any]:
    """Return how an area of an actor is filled: full, or hatched on a tint, so that grey print tells them apart too."""
    return {
        "facecolor": tint(look.colour) if look.hatch else look.colour,
        "edgecolor": look.colour,
        "hatch": look.hatch,
    }


def gap(axes: Axes, onset: float, offset: float, low: float, high: float) -> None:
    """Shade a span in which nobody watched, between two heights."""
    how = {"facecolor": GAP, "edgecolor": GAP_LINES, "hatch": "\\\\\\\\", "linewidth": 0, "zorder": 0}
    bars(axes, [onset], [offset - onset], [low], high - low, "gap", **how)


def bars(axes: Axes, left: ArrayLike, width: ArrayLike, low: ArrayLike, height: float, gid: str, **how: Any) -> None:
    """Draw bars as one shape. One for each would take five times as long, and its hatch as often."""
    left, low = np.asarray(left, dtype=float), np.asarray(low, dtype=float)
    if not len(left):
        return
    right, high = left + np.asarray(width, dtype=float), low + height
    corners = np.stack([[left, low], [left, high], [right, high], [right, low], [left, low]]).transpose(2, 0, 1)
    codes = [Path_.MOVETO, Path_.LINETO, Path_.LINETO, Path_.LINETO, Path_.CLOSEPOLY] * len(left)
    axes.add_patch(PathPatch(Path_(corners.reshape(-1, 2), codes), gid=gid, in_layout=False, **how))
