"""Who comes from whom, as a picture: parents above their young, squares for males and circles for females.

The signs are those of standard pedigrees (Bennett et al. 1995, J. Genet. Couns. 4:267-279): a line through the dead, a
diamond where the sex is not known.
"""

from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING

from matplotlib.path import Path

from etholog.analysis import columns
from etholog.analysis.lineage import generations_of
from etholog.animals import Animals
from etholog.base.colours import FAINT, GROUND, INK
from etholog.base.refusal import Refusal
from etholog.figures.layers import Placed, place
from etholog.figures.style import ACTORS, ReproducibleFigure, Size, nothing, plain, plate, rules

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST = 200  # animals: more are no picture, and the table has them
ROW_INCHES, COLUMN_INCHES = 0.85, 0.62
_SIGNS = {"male": "s", "female": "o", "unknown": "D"}


def pedigree(animals: Animals, names: Collection[str], marked: str = "", size: Size = "page") -> ReproducibleFigure:
    """Return a picture of the parents and young among these animals.

    Young hang from a point below their parents; dashed lines lead to those of whom only one is the parent, and nobody
    knows which. No line crosses another where an order without that was found.

    Parameters
    ----------
    animals: the herd.
    names: who is drawn (see `analysis.lineage`).
    marked: whose page it is; drawn filled.
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size` or wider where many stand side by side.

    Raises
    ------
    Refusal: for anything else, more animals than can be drawn, or one that would be its own ancestor.

    >>> import etholog
    >>> known = etholog.read("examples/season").animals
    >>> figure = etholog.figures.pedigree(known, ["F-Umbra", "F-Sepia"], "F-Umbra")
    """
    columns.made_by(animals, Animals, "etholog.read (its .animals)")
    names = columns.words(names, "names")
    if len(names) > MOST:
        raise Refusal(f"{len(names)} animals: too many to draw (at most {MOST}); write the table: .csv")
    with rules():
        if not names:
            return nothing(size, "No animal to draw.")
        level = generations_of(names, animals.parents)
        couples = _couples(animals, names)
        layer: dict[object, int] = {name: 2 * depth for name, depth in level.items()}
        edges: list[tuple[object, object]] = []
        for (parents, chances), young in couples.items():
            knot = ("pair", parents, chances)
            layer[knot] = 2 * max(level[one] for one in parents) + 1
            edges += [*((one, knot) for one in parents), *((knot, one) for one in young)]
        placed = place(layer, edges)
        return _drawn(animals, placed, level, marked, size)


Couple = tuple[tuple[str, ...], tuple[float, ...]]


def _couples(animals: Animals, names: Collection[str]) -> dict[Couple, list[str]]:
    """Return the young of each set of possible parents, with the parents' chances."""
    found: dict[Couple, list[str]] = {}
    for name in sorted(names):
        up = animals.parents.get(name)
        told = [(who, chance) for who, chance in (*up.dam, *up.sire) if who in names] if up else []
        if told:
            found.setdefault((tuple(who for who, _ in told), tuple(chance for _, chance in told)), []).append(name)
    return found


def _drawn(animals: Animals, placed: Placed, level: Mapping[str, int], marked: str, size: Size) -> ReproducibleFigure:
    spots = {name: placed.at[name] for name in level}
    xs = [x for x, _ in placed.at.values()]
    low, high = min(xs), max(xs)
    rows = max(level.values()) + 1
    figure = plate(size, 0.5 + ROW_INCHES * rows)
    figure.set_figwidth(max(figure.get_figwidth(), COLUMN_INCHES * (high - low + 1)))
    axes = figure.subplots()
    for edge, points in placed.through.items():
        knot = next(node for node in edge if isinstance(node, tuple))
        chances = dict(zip(knot[1], knot[2], strict=True))
        sure = chances.get(edge[0], 1.0) == 1.0
        axes.plot(
            [x for x, _ in points], [-y for _, y in points], color=INK if sure else FAINT, linewidth=0.7,
            linestyle="-" if sure else (0, (3, 2)), zorder=1, gid="line" if sure else "unsure",
        )  # fmt: skip
    for sex, sign in _SIGNS.items():
        own = [name for name in level if animals.sex_of(name) == sex]
        colour = ACTORS[sex].colour if sex in ACTORS else INK
        axes.scatter(
            [spots[name][0] for name in own], [-spots[name][1] for name in own], marker=sign, s=80, linewidths=1.1,
            facecolors=[colour if name == marked else "white" for name in own], edgecolors=colour, zorder=2, gid=sex,
        )  # fmt: skip
    _named(axes, animals, spots)
    axes.set_xlim(low - 0.7, high + 0.7)
    axes.set_ylim(-2 * rows + 1, 0.6)
    axes.set_axis_off()
    return figure


def _named(axes: "Axes", animals: Animals, spots: Mapping[str, tuple[float, int]]) -> None:
    dead = [spot for name, spot in spots.items() if animals.died(name)]
    through = Path([(-1, -1), (1, 1)])
    axes.scatter(
        [x for x, _ in dead], [-y for _, y in dead], marker=through, s=180, color=INK, linewidths=0.8, zorder=3,
        gid="dead",
    )  # fmt: skip
    for name, (x, y) in spots.items():
        axes.text(
            x, -y - 0.36, plain(name), ha="center", va="top", fontsize=6, gid="name", zorder=4,
            bbox={"facecolor": GROUND, "edgecolor": "none", "pad": 0.6},
        )  # fmt: skip
