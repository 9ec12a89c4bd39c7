"""Signs of eggs coming: what showed, how long before the sac, and how often it showed for nothing."""

from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns, crossed
from etholog.animals.attempts import by_female
from etholog.base.text import many
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
    before the sac it was first seen); none (attempts that ended without a sac in which it showed), of_none;
    sacs_low, sacs_high, none_low, none_high: 95 % limits of the shares `sacs` of `of_sacs` and `none` of `of_none`
    (Wilson 1927, of as many independent attempts as these are worth: those of one female resemble each other), from
    four females on; limits: why some are missing.

    Raises
    ------
    Refusal: for a table that lacks a column of `signs_seen`, or holds something else in it.

    >>> import etholog
    >>> from datetime import date
    >>> seen = etholog.signs_seen(etholog.read("examples/season"), date(2026, 11, 20))
    >>> etholog.signs(seen).iloc[0][["sign", "sacs", "of_sacs"]].to_dict()
    {'sign': 'abdomen to carapace', 'sacs': 2, 'of_sacs': 4}
    """
    seen = columns.table(seen, "female", "attempt", "end", "sign", "days")
    for name in ("female", "attempt", "end", "sign"):
        columns.labels(seen, name, holes=name == "sign")
    seen = seen.assign(days=columns.numbers(seen, "days"))
    closed = seen[seen["end"] != "open"]
    laid = closed["end"] == "sac"
    first = closed[laid].groupby(["sign", "attempt"])["days"].max()
    shown = first.groupby("sign").agg(sacs="size", days_least="min", days_median="median", days_most="max")
    false = closed[~laid].groupby("sign")["attempt"].nunique().rename("none")
    table = shown.join(false, how="outer").rename_axis("sign").reset_index()
    table[["sacs", "none"]] = table[["sacs", "none"]].fillna(0).astype(int)
    why = []
    for name, rows, words in (("sacs", closed[laid], "before a sac"), ("none", closed[~laid], "without a sac")):
        table[f"of_{name}"] = rows["attempt"].nunique()
        limits, missing = _limits(table["sign"], rows)
        table[[f"{name}_low", f"{name}_high"]] = limits
        why += [f"{words}: {missing}"] if missing else []
    table["limits"] = "; ".join(why)
    days = ["days_least", "days_median", "days_most"]
    edges = ["sacs_low", "sacs_high", "none_low", "none_high"]
    heads = ["sign", "sacs", "of_sacs", *days, "none", "of_none", *edges, "limits"]
    found: pd.DataFrame = table[heads].astype(dict.fromkeys([*days, *edges], np.float64))
    return found


def _limits(signs: pd.Series, rows: pd.DataFrame) -> tuple[NDArray[np.float64], str]:
    """Return (signs, 2): the limits of the share of attempts in which each sign showed; and why there are none."""
    attempts = rows.drop_duplicates("attempt")
    female = pd.factorize(attempts["female"])[0]
    females = len(np.unique(female))
    if females < crossed.FEWEST_FEMALES:
        return np.full((len(signs), 2), np.nan), f"{many(females, 'female')}, and it takes {crossed.FEWEST_FEMALES}"
    nobody = np.full(len(female), -1)  # a sign has no male
    showed = [attempts["attempt"].isin(rows.loc[rows["sign"] == sign, "attempt"]).to_numpy() for sign in signs]
    limits = [crossed.share_limits(came, nobody, female) for came in showed]
    return np.array(limits, dtype=np.float64).reshape(-1, 2), ""
