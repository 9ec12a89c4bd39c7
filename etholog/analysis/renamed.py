"""Columns by the names that they had in version 0.1, beside the new ones: for version 0.2 alone.

What they say is what the new ones say. Columns that were false are gone (see the changes in DEVELOPERS.md).
"""

import pandas as pd

DURATION = {"per_hour_resampled_low": "per_hour_low", "per_hour_resampled_high": "per_hour_high"}
BALANCE = {"resampled_low": "low", "resampled_high": "high"}
PAIRS = {
    "difference_resampled_low_s": "difference_low_s",
    "difference_resampled_high_s": "difference_high_s",
}


def with_old_names(table: pd.DataFrame, old: dict[str, str]) -> pd.DataFrame:
    """Return the table with the columns by their old names, last."""
    return table.assign(**{name: table[new] for name, new in old.items()})
