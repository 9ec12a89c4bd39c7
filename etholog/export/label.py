"""A label for the enclosure: who, with whom, when, how sure, and when to look for a sac."""

import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import segno
from matplotlib import rcParams
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path as MplPath
from matplotlib.textpath import TextToPath

from etholog.base import files
from etholog.base.atomic import replacing
from etholog.base.refusal import Refusal
from etholog.base.text import drawable
from etholog.fonts import families

MM = 1 / 25.4
MARGIN_MM = 2.0
LEAST_MM, MOST_MM = 25.0, 300.0
CUT_MM = 5.0  # of a page's edge that printers leave white
A4, LETTER = (210.0, 297.0), (215.9, 279.4)

Label = tuple[Sequence[str], str]  # its lines, and what its code holds


@dataclass(frozen=True)
class Sheet:
    """A page of labels: its width and height, how many stand across and down, and the mm from its left and top edge to
    the first of them, and between columns."""

    page: tuple[float, float]
    across: int
    down: int
    left: float
    top: float
    gap: float = 0.0


# By width x height in mm of their labels: sheets that are commonly sold (common practice, no source).
SHEETS = {
    "63.5x38.1": Sheet(A4, 3, 7, 7.2, 15.15, 2.55),
    "70x37": Sheet(A4, 3, 8, 0.0, 0.5),
    "99.1x38.1": Sheet(A4, 2, 7, 4.65, 15.15, 2.5),
    "66.7x25.4": Sheet(LETTER, 3, 10, 4.75, 12.7, 3.15),
    "101.6x50.8": Sheet(LETTER, 2, 5, 4.0, 12.7, 4.7),
}
SIZES = tuple(SHEETS)
LONGEST_LINE = 200
LEADING = 1.2  # from line to line, in heights of type
_POINT_MM = 0.3528


def size_of(text: str) -> tuple[float, float]:
    """Read `63.5x38.1` (mm). Raises Refusal for what no label is."""
    try:
        width, height = (float(part) for part in text.lower().split("x"))
    except ValueError:
        raise Refusal(f"{text!r} is not a size; write WIDTHxHEIGHT in mm, as in {', '.join(SIZES)}") from None
    if not (LEAST_MM <= width <= MOST_MM and LEAST_MM <= height <= MOST_MM):
        raise Refusal(f"{text!r} is not a label's size; each side from {LEAST_MM:g} to {MOST_MM:g} mm")
    return width, height


def figure(lines: Sequence[str], code: str, size: tuple[float, float]) -> Figure:
    """Return the label: a large first line, the others below it, and `code` as a QR code (ISO/IEC 18004)."""
    drawn = Figure(figsize=(size[0] * MM, size[1] * MM), facecolor="white")
    _put(drawn, lines, code, size, (0.0, 0.0), size)
    return drawn


def sheet_of(size: tuple[float, float]) -> Sheet:
    """Return the sheet that labels of a size are sold on; for others, an A4 page with as many as fit, to cut out."""
    known = SHEETS.get(f"{size[0]:g}x{size[1]:g}")
    if known:
        return known
    across, down = (int((side - 2 * CUT_MM) // own) for side, own in zip(A4, size, strict=True))
    if not (across and down):
        raise Refusal(f"{size[0]:g}x{size[1]:g}: is larger than an A4 page; leave --sheet out")
    left, top = ((side - count * own) / 2 for side, count, own in zip(A4, (across, down), size, strict=True))
    return Sheet(A4, across, down, left, top)


def sheets(labels: Sequence[Label], size: tuple[float, float]) -> Iterator[Figure]:
    """Yield pages with many labels each, row by row from the top left."""
    of = sheet_of(size)
    for start in range(0, len(labels), of.across * of.down):
        drawn = Figure(figsize=(of.page[0] * MM, of.page[1] * MM), facecolor="white")
        for place, (lines, code) in enumerate(labels[start : start + of.across * of.down]):
            row, column = divmod(place, of.across)
            at = of.left + column * (size[0] + of.gap), of.top + row * size[1]
            _put(drawn, lines, code, size, at, of.page)
            if f"{size[0]:g}x{size[1]:g}" not in SHEETS:
                x, y = at[0] / of.page[0], 1 - (at[1] + size[1]) / of.page[1]
                frame = Rectangle((x, y), size[0] / of.page[0], size[1] / of.page[1], fill=False, edgecolor="#b0b0b0")
                frame.set(linewidth=0.3, transform=drawn.transFigure)
                drawn.add_artist(frame)
        yield drawn


def _put(
    drawn: Figure,
    lines: Sequence[str],
    code: str,
    size: tuple[float, float],
    at: tuple[float, float],
    page: tuple[float, float],
) -> None:
    """Draw a label, its top left corner `at` (mm) from the page's."""
    width, height = size
    # With the margin, two modules of border come to the quiet zone that a reader needs.
    # UTF-8, which readers take letters for; left to itself it would be Shift JIS for some names.
    matrix = [list(row) for row in segno.make_qr(code, error="m", encoding="utf-8").matrix_iter(border=2)]
    side = min(height - 2 * MARGIN_MM, width * 0.35)
    left, foot = at[0] + width - MARGIN_MM - side, page[1] - at[1] - MARGIN_MM - side
    axes = drawn.add_axes((left / page[0], foot / page[1], side / page[0], side / page[1]))
    axes.set(xlim=(0, len(matrix)), ylim=(len(matrix), 0))
    # One shape, so that no hairline shows between the modules, at any size.
    modules = [Rectangle((x, y), 1, 1) for y, row in enumerate(matrix) for x, dark in enumerate(row) if dark]
    squares = [square.get_patch_transform().transform_path(square.get_path()) for square in modules]
    axes.add_patch(PathPatch(MplPath.make_compound_path(*squares), facecolor="black", linewidth=0, antialiased=False))
    axes.set_axis_off()
    room = width - side - 3 * MARGIN_MM
    top = at[1] + MARGIN_MM
    for line, points, weight in _fitting(
        [drawable(line, LONGEST_LINE) for line in lines], room, height - 2 * MARGIN_MM
    ):
        drawn.text(
            (at[0] + MARGIN_MM) / page[0],
            1 - top / page[1],
            line,
            fontsize=points,
            fontweight=weight,
            va="top",
            parse_math=False,
        )
        top += points * _POINT_MM * LEADING


def _fitting(lines: Sequence[str], room: float, height: float) -> list[tuple[str, float, str]]:
    """Return the lines, wrapped into so many mm, with the points and the weight of each: the largest type in which all
    of them fit. Raises Refusal where none does."""
    for tenths in range(110, 29, -5):
        points = tenths / 10
        # Who it is stands there whole: in smaller type, or on more lines, before any of it is left out.
        sizes = (points * share for share in (1.5, 1.25, 1.0))
        own = next((size for size in sizes if _width(lines[0], size, "bold") <= room), points)
        first = [(part, own, "bold") for part in _wrapped(lines[0], room, own, "bold")]
        rest = [(part, points, "normal") for line in lines[1:] for part in _wrapped(line, room, points)]
        if sum(size for _, size, _ in (*first, *rest)) * _POINT_MM * LEADING <= height:
            return [*first, *rest]
    raise Refusal(f"{lines[0]}: its label's words don't fit, in type that can be read; take a larger --size")


def _width(text: str, points: float, weight: str = "normal") -> float:
    return _width_of_a_point(text, weight, tuple(rcParams["font.family"])) * points


@cache  # each size of type is tried with the same words
def _width_of_a_point(text: str, weight: str, families: Sequence[str]) -> float:
    face = FontProperties(family=families, size=1, weight=weight)
    return float(TextToPath().get_text_width_height_descent(text, face, ismath=False)[0]) * _POINT_MM


def _wrapped(line: str, room: float, points: float, weight: str = "normal") -> list[str]:
    """Break a line where its own width says so; the standard library counts letters, and letters differ."""
    shown: list[str] = []
    for word in line.split():
        if shown and _width(f"{shown[-1]} {word}", points, weight) <= room:
            shown[-1] += f" {word}"
        else:
            shown += _broken(word, room, points, weight)
    return shown


def _broken(word: str, room: float, points: float, weight: str) -> list[str]:
    """Break a word that is wider than the room, which would go on into the code beside it."""
    parts = [""]
    for letter in word:
        if parts[-1] and _width(parts[-1] + letter, points, weight) > room:
            parts.append("")
        parts[-1] += letter
    return parts


def write(path: Path, labels: Sequence[Label], size: tuple[float, float], sheet: bool = False) -> str:
    """Write labels, and return the letters for which no font is installed: boxes stand in their place. PDF takes many
    labels, a page each, or many on a page (`sheet`); SVG and PNG one. Raises Refusal otherwise."""
    kind = path.suffix.lower()
    if kind not in files.PICTURES:
        raise Refusal(
            f"{path}: a label is written as one of {', '.join(files.PICTURES)}, or as plain text without a file"
        )
    if len(labels) > 1 and kind != ".pdf":
        raise Refusal(f"{path}: holds one label; write several as .pdf")
    if sheet and kind != ".pdf":
        raise Refusal(f"{path}: a sheet of labels is written as .pdf")
    from matplotlib import rc_context

    letters = {
        (letter, "normal" if at else "bold")
        for lines, _ in labels
        for at, line in enumerate(lines)
        for letter in "".join(drawable(line, LONGEST_LINE).split())
    }
    fonts, lacking = families(letters)
    settings = rc_context({"svg.hashsalt": "etholog", "pdf.fonttype": 42, "font.family": fonts})
    with settings, warnings.catch_warnings(), replacing(path) as file:
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        if kind == ".pdf":
            from matplotlib.backends.backend_pdf import PdfPages  # what no picture needs

            with PdfPages(file, metadata={"CreationDate": None}) as pages:
                for page in sheets(labels, size) if sheet else (figure(*label, size) for label in labels):
                    pages.savefig(page)
        else:
            metadata = {"Date": None} if kind == ".svg" else {}
            figure(*labels[0], size).savefig(file, format=kind[1:], dpi=600, metadata=metadata)
    return lacking
