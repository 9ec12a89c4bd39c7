"""How far two records of one session agree, behaviour by behaviour."""

from collections.abc import Mapping

import numpy as np

from etholog.analysis import columns
from etholog.analysis.agreement import Agreement
from etholog.base.colours import FAINT, INK, RULE
from etholog.figures.style import GROUPS, ReproducibleFigure, Size, label, nothing, plate, rules

ROW_INCHES = 0.22


def agreement(found: Agreement, named: Mapping[str, str] | None = None, size: Size = "page") -> ReproducibleFigure:
    """Return a picture of how far two records of one session agree, behaviour by behaviour.

    At the left the share of onsets that both marked, and Cohen's kappa over time units; at the right the second's
    durations less the first's, with limits of agreement (Bland & Altman 1986).

    Parameters
    ----------
    found: what `etholog.agreement` returned.
    named: labels of the codes (`figures.names`).
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: for anything else.

    >>> import etholog
    >>> season = etholog.read("examples/season")
    >>> one = season.bouts[season.bouts["session"] == season.sessions["session"].iloc[0]]
    >>> figure = etholog.figures.agreement(etholog.agreement(one, one))
    """
    columns.made_by(found, Agreement, "etholog.agreement")
    with rules():
        table = found.table
        if not len(table):
            return nothing(size, "Neither record holds a bout: there is nothing to compare.")
        figure = plate(size, 1.0 + ROW_INCHES * len(table))
        left, right = figure.subplots(1, 2, sharey=True, width_ratios=(4, 3))
        places = np.arange(len(table))
        left.hlines(places, 0, 1, color=RULE, linewidth=0.5, zorder=0)
        left.plot(
            table["agreed"], places, "o", color=GROUPS[0].colour, markersize=5, label="onsets matched", gid="agreed",
            clip_on=False,
        )  # fmt: skip
        left.plot(
            table["kappa"], places, "D", color=GROUPS[1].colour, markerfacecolor="none", markersize=5.5,
            markeredgewidth=1.2, label="kappa, time units", gid="kappa", clip_on=False,
        )  # fmt: skip
        low = float(np.nanmin([0.0, table["kappa"].min()]))
        left.set_xlim(low - 0.03, 1.03)
        told = [
            f"{label(str(name), named)}  {int(r['first'])} | {int(r['second'])}"
            for name, r in zip(table.index, table.to_dict("records"), strict=True)
        ]
        left.set_yticks(places, told)
        left.tick_params(axis="y", length=0)
        left.set_ylim(len(table) - 0.5, -0.5)
        left.set_xlabel("agreement")
        right.axvline(0, color=INK, linewidth=0.6, linestyle=":")
        right.hlines(places, table["low_s"], table["high_s"], color=INK, linewidth=1, gid="limits")
        right.plot(table["difference_s"], places, "o", color=INK, markersize=4.5, gid="difference")
        right.tick_params(axis="y", length=0)
        far = max(1.0, *np.abs(np.nan_to_num(table[["difference_s", "low_s", "high_s"]].to_numpy(dtype=float))).flat)
        right.set_xlim(-1.1 * far, 1.1 * far)
        right.set_xlabel("second − first, s")
        title = "onsets in the first | in the second"
        if np.isfinite(found.kappa):
            title += f"; kappa of all states: {found.kappa:.2f}"
        figure.suptitle(title, x=0.01, ha="left", fontsize=8, color=FAINT)
        figure.legend(loc="outside lower left", ncols=2)
        return figure
