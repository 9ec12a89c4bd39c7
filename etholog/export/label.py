"""A label for the enclosure: who, with whom, when, how sure, and when to look for a sac."""

import warnings
from collections.abc import Sequence
from pathlib import Path

import segno
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path as MplPath
from matplotlib.textpath import TextToPath

from etholog.base.atomic import replacing
from etholog.base.refusal import Refusal
from etholog.figures.style import drawable

MM = 1 / 25.4
MARGIN_MM = 2.0
LEAST_MM, MOST_MM = 25.0, 300.0
# Width x height in mm of labels that sheets commonly have (common practice, no source).
SIZES = ("63.5x38.1", "70x37", "99.1x38.1", "66.7x25.4", "101.6x50.8")
KINDS = (".svg", ".pdf", ".png")
LONGEST_LINE = 200
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
    width, height = size
    drawn = Figure(figsize=(width * MM, height * MM), facecolor="white")
    # With the margin, two modules of border come to the quiet zone that a reader needs.
    matrix = [list(row) for row in segno.make_qr(code, error="m").matrix_iter(border=2)]
    side = min(height - 2 * MARGIN_MM, width * 0.35)
    left, foot = width - MARGIN_MM - side, height - MARGIN_MM - side
    axes = drawn.add_axes((left / width, foot / height, side / width, side / height))
    axes.set(xlim=(0, len(matrix)), ylim=(len(matrix), 0))
    # One shape, so that no hairline shows between the modules, at any size.
    modules = [Rectangle((x, y), 1, 1) for y, row in enumerate(matrix) for x, dark in enumerate(row) if dark]
    squares = [square.get_patch_transform().transform_path(square.get_path()) for square in modules]
    axes.add_patch(PathPatch(MplPath.make_compound_path(*squares), facecolor="black", linewidth=0, antialiased=False))
    axes.set_axis_off()
    room = width - side - 3 * MARGIN_MM
    points, shown = _fitting([drawable(line, LONGEST_LINE) for line in lines], room, height - 2 * MARGIN_MM)
    top = MARGIN_MM
    for at, line in enumerate(shown):
        own = points * (1.5 if at == 0 else 1)
        drawn.text(
            MARGIN_MM / width,
            1 - top / height,
            line,
            fontsize=own,
            fontweight="bold" if at == 0 else "normal",
            va="top",
            parse_math=False,
        )
        top += own * _POINT_MM * 1.2
    return drawn


def _fitting(lines: Sequence[str], room: float, height: float) -> tuple[float, list[str]]:
    """Return the largest type in which all of it fits into so many mm, and its lines wrapped for that."""
    for tenths in range(110, 29, -5):
        points = tenths / 10
        first = _cut(lines[0], room, points * 1.5)
        rest = [part for line in lines[1:] for part in _wrapped(line, room, points)]
        if (len(rest) + 1.5) * points * _POINT_MM * 1.2 <= height:
            break
    return points, [first, *rest]


def _width(text: str, points: float, weight: str = "normal") -> float:
    face = FontProperties(size=points, weight=weight)
    return float(TextToPath().get_text_width_height_descent(text, face, ismath=False)[0]) * _POINT_MM


def _cut(text: str, room: float, points: float) -> str:
    if _width(text, points, "bold") <= room:
        return text
    return next(
        (f"{text[:n]}…" for n in range(len(text), 0, -1) if _width(f"{text[:n]}…", points, "bold") <= room), "…"
    )


def _wrapped(line: str, room: float, points: float) -> list[str]:
    """Break a line where its own width says so; the standard library counts letters, and letters differ."""
    shown: list[str] = []
    for word in line.split():
        if shown and _width(f"{shown[-1]} {word}", points) <= room:
            shown[-1] += f" {word}"
        else:
            shown.append(word)
    return shown


def write(path: Path, labels: Sequence[tuple[Sequence[str], str]], size: tuple[float, float]) -> None:
    """Write labels, each (lines, code): PDF takes many, a page each; SVG and PNG one. Raises Refusal otherwise."""
    kind = path.suffix.lower()
    if kind not in KINDS:
        raise Refusal(f"{path}: a label is written as {', '.join(KINDS)}, or as plain text without a file")
    if len(labels) > 1 and kind != ".pdf":
        raise Refusal(f"{path}: holds one label; write several as .pdf")
    from matplotlib import rc_context

    settings = rc_context({"svg.hashsalt": "etholog", "pdf.fonttype": 42})
    with settings, warnings.catch_warnings(), replacing(path) as file:
        # A letter that the font lacks is drawn as a box; that is told by the label.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        if kind == ".pdf":
            with PdfPages(file, metadata={"CreationDate": None}) as pages:
                for lines, code in labels:
                    pages.savefig(figure(lines, code, size))
        else:
            metadata = {"Date": None} if kind == ".svg" else {}
            figure(*labels[0], size).savefig(file, format=kind[1:], dpi=600, metadata=metadata)
