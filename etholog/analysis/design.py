"""What may be permuted: it follows from who met whom, and from whether the groups belong to the animals."""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import crossed
from etholog.base.language import gettext, gettext_noop, number

OTHER = {"male": "female", "female": "male"}
PAIRED = {
    "male": gettext_noop(
        "No p: half of the males or more met mostly one female each, so that males and females can't be told apart."
    ),
    "female": gettext_noop(
        "No p: half of the females or more met mostly one male each, so that males and females can't be told apart."
    ),
}
AT_RANDOM = {
    "male": gettext_noop("It assumes that females were met at random."),
    "female": gettext_noop("It assumes that males were met at random."),
}
PAIRED_AT_MOST = 25  # groups: beyond, a table of pairs is read by nobody
NONE = "none"  # as a stratum: none at all, where one would be chosen


@dataclass(frozen=True)
class Design:
    """How groups of a column are compared.

    kind: 'each animal' (the groups are animals, or no animal comes twice: sessions are permuted), 'whole animals' (the
    groups belong to the animal) or 'within animals' (an animal was in several groups). unit: the column of the animals
    whose sessions belong together. units: their numbers by row; where groups belong to males and females who both come
    again, those of both, of `unit` first. strata: the columns to compare within, the best first; None is all together.
    """

    kind: Literal["each animal", "whole animals", "within animals"]
    unit: str | None
    units: tuple[NDArray[np.intp], ...]
    strata: tuple[str | None, ...]

    @property
    def unit_of(self) -> NDArray[np.intp]:
        """The numbers of `unit`, by row."""
        return self.units[0]


def design(rows: pd.DataFrame, by: str, within: str | None, cluster: str | None) -> Design:
    """Return how the groups of `by` are to be compared. `within`, `cluster`: as the user has it; None to choose."""
    found = [cluster] if cluster else [] if by in OTHER else _units(rows, by)
    units = tuple(numbers(rows[name]) for name in found if name in rows.columns and name != by)
    unit_of = units[0] if units else np.arange(len(rows))
    unit = found[0] if len(np.unique(unit_of)) < len(rows) else None
    fixed = _belongs(rows[by], unit_of)
    kind: Literal["each animal", "whole animals", "within animals"] = (
        "each animal" if unit is None else "whole animals" if fixed else "within animals"
    )
    best = OTHER.get(by) if kind == "each animal" else unit if kind == "within animals" else None
    if within is not None:
        strata: tuple[str | None, ...] = (None if within == NONE and NONE not in rows.columns else within,)
    elif best in rows.columns and named(rows[best]).all():
        strata = (best,) if kind == "within animals" else (best, None)
    else:
        strata = (None,)
    return Design(kind, unit, units or (unit_of,), strata)


def _units(rows: pd.DataFrame, by: str) -> list[str]:
    """Return the columns of the animals whose sessions belong together: those that come again and to whom the groups
    belong, the rarer ones first; where they belong to none, the males."""
    owners = [name for name in recurring(rows) if _belongs(rows[by], numbers(rows[name]))]
    counts = {name: how_many(rows[name]) for name in owners}
    return sorted(counts, key=counts.__getitem__) or ["male"]


def _belongs(group: pd.Series, unit_of: NDArray[np.intp]) -> bool:
    """Return whether all sessions of each animal are in one group."""
    number = pd.Series(pd.factorize(group.astype(object))[0])
    return not (number.groupby(unit_of).nunique() > 1).any()


def alone(rows: pd.DataFrame, by: str | None) -> bool:
    """Return whether the sessions of a group of `by` count each for itself: the group is one animal, or none came
    twice. Else limits that take them for so many animals are too narrow."""
    return by in OTHER or not recurring(rows)


def recurring(rows: pd.DataFrame) -> list[str]:
    """Return the columns of animals in which one comes twice."""
    sexes = [name for name in OTHER if name in rows.columns]
    return [name for name in sexes if rows.loc[named(rows[name]), name].duplicated().any()]


def numbers(column: pd.Series) -> NDArray[np.intp]:
    """Return the animals' numbers; who is not known is another each time."""
    numbers = pd.factorize(column.astype(object))[0].astype(np.intp)
    unknown = ~named(column).to_numpy()
    numbers[unknown] = len(numbers) + np.arange(int(unknown.sum()))
    return numbers


def named(column: pd.Series) -> pd.Series:
    """Return which values are known: neither missing nor ''."""
    return column.notna() & (column.astype(object) != "")


def named_rows(rows: pd.DataFrame, *columns: str | None) -> pd.DataFrame:
    """Return the rows in which each of these columns is known; columns that the table lacks are ignored."""
    kept = np.ones(len(rows), dtype=bool)
    for column in columns:
        if column in rows.columns:
            kept &= named(rows[column]).to_numpy()
    return rows[kept]


def how_many(column: pd.Series) -> int:
    """Return how many animals a column names; those that it does not name may be any."""
    return int(column[named(column)].nunique())


def how_many_each(column: pd.Series, group: NDArray[np.integer[Any]]) -> pd.Series:
    """Return how many animals a column names in each group, by its number."""
    return column.where(named(column)).groupby(group, observed=True).nunique()


def whole_said(plan: Design) -> str:
    """Say which whole animals are permuted."""
    if len(plan.units) > 1:
        return gettext("Whole males are permuted, then whole females, and the larger p counts.")
    return gettext("Whole {unit}s are permuted, not their sessions.", unit=gettext(str(plan.unit)))


def smallest_said(smallest_p: float) -> str:
    """Say that there is no p, since the design could give none that says anything."""
    return gettext("No p: the smallest that this design could give is {smallest}.", smallest=number(smallest_p, ".2g"))


def at_random_said(by: str, within: str | None) -> list[str]:
    """Say what a p between males, or between females, assumes where it is not within those whom they met."""
    return [gettext(AT_RANDOM[by])] if by in OTHER and within != OTHER[by] else []


def too_many_said(groups: int) -> str:
    """Say why there is no table of pairs."""
    return gettext("{groups} groups are too many to set each two beside each other.", groups=groups)


def met(rows: pd.DataFrame) -> pd.DataFrame | None:
    """Return how many sessions each male (row) had with each female (column); None where they are not named."""
    if not {"male", "female"} <= set(rows.columns):
        return None
    both = rows[named(rows["male"]) & named(rows["female"])]
    return pd.crosstab(both["male"].astype(object), both["female"].astype(object)) if len(both) else None


def no_p_of(by: str) -> str:
    """Return why animals that are `paired` have no p."""
    return gettext(PAIRED[by])


def paired(rows: pd.DataFrame, by: str) -> bool:
    """Return whether males and females can't be told apart: at least half of the males (or females, by which groups
    are made) who came more than once had more than half of their sessions with one and the same mate."""
    own, mates = (pd.factorize(rows[name].where(named(rows[name])).astype(object))[0] for name in (by, OTHER[by]))
    return crossed.inseparable(crossed.crossing(own, mates))
