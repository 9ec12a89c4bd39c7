"""The curve of those still without a behaviour, a line of text for each group."""

import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING

from etholog.base.colours import ACTORS
from etholog.base.text import visible
from etholog.commands.output import WIDEST, Part, columns_of, picture

if TYPE_CHECKING:
    import pandas as pd

BLOCKS, EIGHTHS = "▁▂▃▄▅▆▇█", "12345678"
NAME_WIDTH, TALLY_WIDTH = 30, 9  # the longest names of species have some 29 letters


def show(times: "pd.DataFrame", by: str) -> None:
    """Print Kaplan & Meier's curve of each value of the column `by`: in each column the share still without it."""
    levels = BLOCKS
    try:
        BLOCKS.encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        levels = EIGHTHS
    picture(lines(times, by, min(WIDEST, columns_of(sys.stdout)), levels))


def lines(times: "pd.DataFrame", by: str, width: int, levels: str) -> Iterator[list[Part]]:
    """Yield a line for each group, `width` columns in all, and one with the time. A bar at a line's end: the watching
    ended there, and in some sessions without it."""
    import numpy as np

    from etholog.analysis import design
    from etholog.analysis.survival import kaplan_meier

    rows = times[design.named(times[by])]
    if not len(rows):
        return
    end = float(rows["latency_s"].max()) or 1.0
    groups = {
        visible(str(value)): own for value, own in sorted(rows.groupby(by, observed=True), key=lambda g: str(g[0]))
    }
    named = min(NAME_WIDTH, max(map(len, groups)))
    columns = max(10, width - named - TALLY_WIDTH - 3)
    at = np.arange(columns) * end / columns
    yield [("Share of sessions where it has not happened yet:", "")]
    for name, own in groups.items():
        time, occurred = own["latency_s"].to_numpy(dtype=float), own["occurred"].to_numpy(dtype=bool)
        curve = kaplan_meier(time, occurred)
        share = np.concatenate([[1.0], curve["share"].to_numpy()])
        shown = share[np.searchsorted(curve.index.to_numpy(dtype=float), at[at <= time.max()], side="right")]
        drawn = "".join(levels[int(np.ceil(8 * one)) - 1] if one > 1e-9 else " " for one in shown)
        tally = f"{int(occurred.sum())} of {len(own)}"
        yield [
            (f"{name[:named]:<{named}}  {tally:<{TALLY_WIDTH}}", ""),
            (drawn, ACTORS.get(by, "")),
            ("|" if share[-1] > 1e-9 else "", ""),
        ]
    yield [(f"{'':<{named + TALLY_WIDTH + 2}}0{f'{end:,.0f} s':>{columns - 1}}", "")]
