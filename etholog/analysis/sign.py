"""Signs of eggs coming: what showed, how long before the sac, and how often it showed for nothing."""

from datetime import date

import numpy as np
import pandas as pd

from etholog.analysis import columns
from etholog.animals.attempts import by_female
from etholog.season import Season


def signs_seen(season: Season, today: date) -> pd.DataFrame:
    """Return a row for each sign told of a female between the last pairing that may have taken and the attempt's end.

    Parameters
    ----------
    season: as `etholog.read` returned it, with its cards.
    today: what was told after it is left out.

    Returns
    -------
    female, attempt (a number), end ('sac', 'moult', 'died', 'open'), sign, number (as told, in the sign's own unit;
    NaN: none), days before the end (before `today` where it is open). Attempts in which no sign was told have one
    row with no sign.

    Raises
    ------
    Refusal: for what is no season or no day.

    >>> import etholog
    >>> from datetime import date
    >>> etholog.signs_seen(etholog.read("examples/season"), date(2026, 11, 20)).iloc[0]["sign"]
    'abdomen to carapace'
    """
    animals = columns.season(season).animals.as_of(columns.day(today))
    rows: list[tuple[str, int, str, str | None, float | None, float]] = []
    attempt = 0
    for name, own in by_female(animals).items():
        card = animals.find(name)
        for one in own:
            if not one.taken:
                continue
            end = one.ended_on.first if one.ended_on else today
            told: list[tuple[str | None, float | None, float]] = [
                (entry.words, entry.number, float((end - entry.on.first).days))
                for entry in (card.all("sign") if card else ())
                if not entry.on.before(one.taken[-1].on) and entry.on.first <= end
            ]
            rows += [(name, attempt, one.end, *sign) for sign in told or [(None, None, 0.0)]]
            attempt += 1
    table = pd.DataFrame(rows, columns=["female", "attempt", "end", "sign", "number", "days"])
    return table.astype({"attempt": int, "number": float, "days": float})


def signs(seen: pd.DataFrame) -> pd.DataFrame:
    """Return, for each sign, in how many attempts with a sac it showed, and in how many without one.

    Parameters
    ----------
    seen: as `signs_seen` returns it.

    Returns
    -------
    sign; sacs (attempts with a sac in which it showed), of_sacs; days_least, days_median, days_most (how many days
    before the sac it was first seen); none (attempts that ended without a sac in which it showed), of_none.

    Raises
    ------
    Refusal: for a table that lacks a column of `signs_seen`, or holds something else in it.

    >>> import etholog
    >>> from datetime import date
    >>> seen = etholog.signs_seen(etholog.read("examples/season"), date(2026, 11, 20))
    >>> etholog.signs(seen).iloc[0][["sign", "sacs", "of_sacs"]].to_dict()
    {'sign': 'abdomen to carapace', 'sacs': 2, 'of_sacs': 4}
    """
    seen = columns.table(seen, "attempt", "end", "sign", "days")
    for name in ("attempt", "end", "sign"):
        columns.labels(seen, name, holes=name == "sign")
    seen = seen.assign(days=columns.numbers(seen, "days"))
    closed = seen[seen["end"] != "open"]
    laid = closed["end"] == "sac"
    of_sacs, of_none = closed[laid]["attempt"].nunique(), closed[~laid]["attempt"].nunique()
    first = closed[laid].groupby(["sign", "attempt"])["days"].max()
    shown = first.groupby("sign").agg(sacs="size", days_least="min", days_median="median", days_most="max")
    false = closed[~laid].groupby("sign")["attempt"].nunique().rename("none")
    table = shown.join(false, how="outer").rename_axis("sign").reset_index()
    table["of_sacs"], table["of_none"] = of_sacs, of_none
    table[["sacs", "none"]] = table[["sacs", "none"]].fillna(0).astype(int)
    heads = ["sign", "sacs", "of_sacs", "days_least", "days_median", "days_most", "none", "of_none"]
    days = dict.fromkeys(heads[3:6], np.float64)
    found: pd.DataFrame = table[heads].astype(days)
    return found
