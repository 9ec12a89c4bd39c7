"""Seasons of more bouts than are worked on at once: the reference is pandas' groupby, over all of them."""

from dataclasses import replace

from etholog.analysis.blocks import BLOCK
from tests.bench import made
from tests.bench.analysis import MEASURES, close


def test_measures_over_several_blocks_are_those_of_groupby() -> None:
    season = made.season(2_000)
    assert len(season.bouts) > 3 * BLOCK
    late = made.STATES[1]  # comes only after two blocks, though it stands near the ethogram's top
    kept = (season.bouts["behaviour"] != late) | (season.bouts.index > 2 * BLOCK)
    season = replace(season, bouts=season.bouts[kept].reset_index(drop=True))
    for name, (ours, _, by_groups) in MEASURES.items():
        assert close(ours(season), by_groups(season)), name
