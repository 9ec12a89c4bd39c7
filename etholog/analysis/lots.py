"""The young of all sacs as a table: a row for each lot, and whether its numbers close."""

import pandas as pd

from etholog.animals import Animals
from etholog.animals.attempts import Attempt, by_female

COLUMNS = {
    "lot": str, "dam": str, "sires": str, "species": str, "sac_on": str, "eaten_on": str, "pulled_on": str,
    "opened_on": str, "incubated_c": float, "first_counted": float, "laid": bool, "alive": float, "dead": float,
    "placed": float, "raised": float, "missing": float, "rests_on": str,
}  # fmt: skip


def lots(animals: Animals) -> pd.DataFrame:
    """Return a row for each sac that is on a card.

    Parameters
    ----------
    animals: the herd.

    Returns
    -------
    lot (what it is called: its dam, and the day of the sac), dam, sires (all that may be, with ; between), species,
    sac_on, eaten_on, pulled_on and opened_on (as written, '' where it was not), incubated_c (°C), first_counted (how
    many the first count had), laid (whether that count was of eggs), alive, dead, placed, raised and missing (so many
    are not told of; below 0: too many are). Numbers are NaN where nobody counted. rests_on: what speaks for a transfer.
    """
    rows = [_row(animals, one) for own in by_female(animals).values() for one in own if one.sac]
    table = pd.DataFrame(rows, columns=[*COLUMNS])
    return table.astype({name: kind for name, kind in COLUMNS.items() if kind is not str})


def _row(animals: Animals, one: Attempt) -> tuple[object, ...]:
    dates = [entry.on.text if entry else "" for entry in (one.sac, one.eaten, one.pulled, one.opened)]
    warm, sums = one.all("incubated"), one.lot.closing
    numbers: list[float | None] = [None, False, *[None] * 5]
    if sums:
        numbers = [sums.began, sums.laid, sums.alive, sums.dead, sums.placed, sums.raised, sums.missing]
    return (
        one.lot_id, one.female, ";".join(one.sire_words), animals.species_of(one.female), *dates,
        warm[-1].number if warm else None, *numbers, one.rests_on,
    )  # fmt: skip
