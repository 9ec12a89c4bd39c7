"""Whom to pair with whom, and when: a proposal for one species (or locality) from the cards, as an assignment.

Facts stand beside each pair; nothing rates one. The proposal is the one that pairs the most females; among those, the
one with the least inbreeding of the young, in sum; among those, the least mean kinship of the parents to the group.
Where nothing tells whether two are kin, they count as kin as two of the group are on average, never as unrelated.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis.kin import Group, Kin, group, kin
from etholog.animals import Animals
from etholog.animals.attempts import by_female
from etholog.animals.availability import Free, free, week_of
from etholog.animals.care import windows
from etholog.animals.custody import custody
from etholog.animals.pedigree import back
from etholog.base.language import gettext
from etholog.base.refusal import Refusal
from etholog.base.text import like, nearest
from etholog.ethogram import Ethogram

Couple = tuple[str, str]
REST_DAYS = 14
UNPAIRED = 1e3  # dearer than any pair: inbreeding is at most 1
NEVER = 1e6
TIES = 1e-6


@dataclass(frozen=True)
class Plan:
    """A proposal, and what it rests on.

    `pairs`: week, male, female, first and last (the days between which both are free), inbreeding of their young
    (expected; NaN where nothing tells), inbreeding_low, inbreeding_high, known (generations without a hole in both),
    speaks_for, against, unknown, fixed, next_best (another male for her, who is free in her time) and
    next_best_inbreeding. `now`: female, male, until, inbreeding of all pairs that can meet this week. `animals`:
    animal, sex, free_from, free_until, mean_kinship, why_not ('' where it is free).
    """

    species: str
    form: str
    today: date
    until: date
    group: Group
    pairs: pd.DataFrame
    now: pd.DataFrame
    animals: pd.DataFrame
    kin: Kin


def populations(animals: Animals) -> dict[tuple[str, str], list[str]]:
    """Return the living animals of each species and form (as told first), those that were sold, given or went back left
    out, and those that another's card alone names; '' where an animal's species or form is not told."""
    found: dict[tuple[object, str], tuple[tuple[str, str], list[str]]] = {}
    for name in sorted(animals.on_record):
        card = animals.find(name)
        if animals.died(name) or custody(card).gone:
            continue
        species, form = animals.species_of(name), card.fact("form") if card else ""
        key = animals.synonyms.resolve(species), " ".join(form.casefold().split())
        found.setdefault(key, ((species, form), []))[1].append(name)
    return dict(found.values())


def choose(animals: Animals, species: str = "", form: str | None = None) -> tuple[str, str, list[str]]:
    """Return the one species and form to plan for, with its animals. Raises Refusal, with the list, where there are
    several or none: nothing is planned across species or forms."""
    of = populations(animals)
    fit = {
        (name, place): names
        for (name, place), names in of.items()
        if name
        and (not species or animals.synonyms.same(name, species))
        and (form is None or place.casefold() == form.casefold())
    }
    if len(fit) == 1:
        ((name, place),) = fit
        return name, place, fit[name, place]
    several = fit or {key: names for key, names in of.items() if key[0]}
    told = "; ".join(
        f"{name}, form {place} ({len(names)})" if place else f"{name}, no form told ({len(names)})"
        for (name, place), names in sorted(several.items())
    )
    if not told:
        raise Refusal(
            'no living animal has a species on its card; write it: etholog card F-1 species "Brachypelma smithi"'
        )
    if fit:
        raise Refusal(
            f"one species and form at a time: name it by --species and --form ('' where none is told): {told}"
        )
    is_known = any(animals.synonyms.same(name, species) for name, _ in of if name)
    sought = " of ".join(filter(None, (f"form {form!r}" if form else "", species or ("" if form else "that form"))))
    meant = "" if is_known else like(species, [name for name, _ in of])
    raise Refusal(f"no living animal of {sought}{f'{meant} There' if meant else '; there'} are: {told}")


def plan(
    animals: Animals,
    known: Sequence[Ethogram],
    today: date,
    weeks: int = 26,
    species: str = "",
    form: str | None = None,
    rest: int = REST_DAYS,
    forbid: Collection[Couple] = (),
    fix: Collection[Couple] = (),
) -> Plan:
    """Return a proposal of pairings.

    Parameters
    ----------
    animals, known: the cards and the ethograms at hand.
    today, weeks: the time to plan for.
    species, form: of whom; may be left out where there is one alone.
    rest: days between two pairings of a male.
    forbid, fix: (male, female) that are not to be, or are to be.

    Raises
    ------
    Refusal where there are several species or forms, or a fixed pair can't be.
    """
    species, form, names = choose(animals, species, form)
    until = today + timedelta(weeks=weeks)
    tries = by_female(animals)
    mine = windows(names, animals, known, tries)
    spans = [free(name, animals, mine[name], tries, today, until, rest) for name in names]
    found = kin(names, animals.parents)
    measures = group(found)
    at = {name: i for i, name in enumerate(names)}
    males = [one for one in spans if one.sex == "male" and not one.shut]
    wanted = {she for _, she in fix}
    females = [
        one for one in spans if one.sex == "female" and not one.shut and (not one.growing or one.animal in wanted)
    ]
    _check(fix, forbid, spans)
    cost = costs(males, females, found, measures, at)
    chosen = assign(males, females, cost, rest, forbid, fix)
    pairs = [_row(males[m], females[f], day, found, at, fix) for m, f, day in chosen]
    for (m, f, _), row in zip(chosen, pairs, strict=True):
        row |= _next_best(males, females, m, f, cost, found, at, forbid)
    pairs.sort(key=lambda row: (row["week"], row["first"], row["female"]))
    listed = pd.DataFrame([_animal(one, measures) for one in spans], columns=ANIMALS)
    return Plan(
        species, form, today, until, measures, pd.DataFrame(pairs, columns=PAIRS),
        _meeting(males, females, today, found, at, forbid), listed, found,
    )  # fmt: skip


PAIRS = [
    "week", "male", "female", "first", "last", "inbreeding", "inbreeding_low", "inbreeding_high", "known", "speaks_for",
    "against", "unknown", "fixed", "next_best", "next_best_inbreeding",
]  # fmt: skip
NOW = ["female", "male", "until", "inbreeding"]
ANIMALS = ["animal", "sex", "free_from", "free_until", "mean_kinship", "why_not"]


def _check(fix: Collection[Couple], forbid: Collection[Couple], spans: Sequence[Free]) -> None:
    by_name = {one.animal: one for one in spans}
    for couple in (*fix, *forbid):
        for name, sex in zip(couple, ("male", "female"), strict=True):
            one = by_name.get(name)
            if one is None:
                raise Refusal(f"{name!r} is not one of the animals planned for{nearest(name, by_name)}")
            if one.sex != sex:
                raise Refusal(f"{name} is {one.sex}; write the male first: MALE:FEMALE")
            if couple in fix and one.shut:
                raise Refusal(f"{couple[0]}:{couple[1]} can't be fixed: {name} is not free ({one.shut})")
    for couple in fix:
        if couple in forbid:
            raise Refusal(f"{couple[0]}:{couple[1]} is fixed and forbidden; leave one out")
        if sum(other[1] == couple[1] for other in fix) > 1:
            raise Refusal(f"{couple[1]} is fixed twice; a second male would make the sire unsure")


def costs(
    males: Sequence[Free], females: Sequence[Free], found: Kin, measures: Group, at: Mapping[str, int]
) -> NDArray[np.float64]:
    """Return what orders the proposals: rows males, columns females. The inbreeding of their young; the parents' mean
    kinship decides between equal ones. Who may be kin counts as the group is on average, and a little worse."""
    rows, columns = ([at[one.animal] for one in some] for some in (males, females))
    size = len(found.names)
    apart = found.expected[~np.eye(size, dtype=bool)]
    usual = float(apart.mean()) if len(apart) else 0.0
    inbred = found.expected[np.ix_(rows, columns)]
    hole = np.minimum.outer(found.known[rows], found.known[columns]) == 0
    inbred = np.where(hole & (found.high[np.ix_(rows, columns)] == 0), usual + TIES, inbred)
    mean = np.array([measures.mean_kinship[name] for name in found.names])
    table: NDArray[np.float64] = inbred + TIES * np.add.outer(mean[rows], mean[columns]) / 2
    return table


def assign(
    males: Sequence[Free],
    females: Sequence[Free],
    cost: NDArray[np.float64],
    rest: int,
    forbid: Collection[Couple] = (),
    fix: Collection[Couple] = (),
) -> list[tuple[int, int, date]]:
    """Return which male is to meet which female, and the first day on which they can: (row, column, day).

    Each female once; a male on the days of his turns, `rest` days apart from the first day on which he is free on
    (the last of them on that day or later). The assignment problem (Kuhn 1955; scipy's
    `linear_sum_assignment`), each male standing in it once for each of his turns.
    """
    turns = [(m, turn) for m, he in enumerate(males) for turn in range(_turns(he, rest, len(females)))]
    if not turns or not females:
        if fix:
            raise Refusal("a fixed pair can't be: nobody is free to meet")
        return []
    from scipy.optimize import linear_sum_assignment

    of = np.array([m for m, _ in turns])
    opens = np.array([males[m].first.toordinal() + turn * rest for m, turn in turns])[:, None]
    his_last = np.array([males[m].last.toordinal() for m, _ in turns])[:, None]
    first, last = (np.array([[getattr(she, end).toordinal() for she in females]]) for end in ("first", "last"))
    most = [_turns(he, rest, len(females)) for he in males]
    ends = np.array([turn == most[m] - 1 for m, turn in turns])[:, None]
    # His last turn may be on any later day; the others are on their own day, so that his rest lies between any two.
    day = np.where(ends, np.maximum(opens, first), opens)
    fits = (day >= first) & (day <= np.minimum(his_last, last))
    price = cost.astype(float, copy=True)
    columns_of = {she.animal: f for f, she in enumerate(females)}
    rows_of = {he.animal: m for m, he in enumerate(males)}
    for he, she in forbid:
        if he in rows_of and she in columns_of:
            price[rows_of[he], columns_of[she]] = NEVER
    for he, she in fix:
        if he in rows_of and she in columns_of:
            alone = price[rows_of[he], columns_of[she]] - UNPAIRED
            price[:, columns_of[she]] = NEVER
            price[rows_of[he], columns_of[she]] = alone
    table = np.where(fits, price[of], NEVER)
    rows, columns = linear_sum_assignment(np.minimum(table, UNPAIRED))
    taken = [(int(row), int(f)) for row, f in zip(rows, columns, strict=True) if table[row, f] < UNPAIRED]
    chosen = [(turns[row][0], f, date.fromordinal(int(day[row, f]))) for row, f in taken]
    missing = set(fix) - {(males[m].animal, females[f].animal) for m, f, _ in chosen}
    if missing:
        male, female = sorted(missing)[0]
        raise Refusal(f"{male}:{female} can't be fixed: the two are not free at one time, with his rest of {rest} days")
    return chosen


def _turns(he: Free, rest: int, most: int) -> int:
    return most if rest <= 0 else min(most, (he.last - he.first).days // rest + 1)


def _row(
    he: Free, she: Free, day: date, found: Kin, at: Mapping[str, int], fix: Collection[Couple]
) -> dict[str, object]:
    i, j = at[he.animal], at[she.animal]
    told = found.inbreeding(i, j)
    low, expected, high = told or (np.nan,) * 3
    generations = int(min(found.known[i], found.known[j]))
    speaks_for = [f"{one.animal}: {text}" for one in (he, she) for text in one.speaks_for]
    against = [f"{one.animal}: {text}" for one in (he, she) for text in one.against]
    unknown = [f"{one.animal}: {text}" for one in (he, she) for text in one.unknown]
    if told is None:
        unknown.append(gettext("a parent of one of them is not known: they may be kin"))
    elif high > 0:
        against.append(gettext("kin"))
    else:
        speaks_for.append(gettext("no ancestor in common among their {back}", back=back(generations)))
    return {
        "week": week_of(day), "male": he.animal, "female": she.animal, "first": day, "last": min(he.last, she.last),
        "inbreeding": expected, "inbreeding_low": low, "inbreeding_high": high, "known": generations,
        "speaks_for": "; ".join(speaks_for), "against": "; ".join(against), "unknown": "; ".join(unknown),
        "fixed": (he.animal, she.animal) in fix,
    }  # fmt: skip


def _next_best(
    males: Sequence[Free], females: Sequence[Free], m: int, f: int, cost: NDArray[np.float64], found: Kin,
    at: Mapping[str, int], forbid: Collection[Couple],
) -> dict[str, object]:  # fmt: skip
    she = females[f]
    others = [
        o
        for o, he in enumerate(males)
        if o != m and he.first <= she.last and she.first <= he.last and (he.animal, she.animal) not in forbid
    ]
    if not others:
        return {"next_best": "", "next_best_inbreeding": np.nan}
    best = males[min(others, key=lambda o: (cost[o, f], males[o].animal))]
    told = found.inbreeding(at[best.animal], at[she.animal])
    return {"next_best": best.animal, "next_best_inbreeding": told[1] if told else np.nan}


def _meeting(
    males: Sequence[Free], females: Sequence[Free], today: date, found: Kin, at: Mapping[str, int],
    forbid: Collection[Couple],
) -> pd.DataFrame:  # fmt: skip
    if not males or not females:
        return pd.DataFrame(columns=NOW)
    end = (week_of(today) + timedelta(days=6)).toordinal()
    firsts, lasts = (
        [np.array([getattr(one, side).toordinal() for one in some]) for some in (females, males)]
        for side in ("first", "last")
    )
    first, last = np.maximum.outer(*firsts), np.minimum.outer(*lasts)
    meet = first <= np.minimum(end, last)
    hers, his = (np.array([at[one.animal] for one in some]) for some in (females, males))
    rows = {she.animal: f for f, she in enumerate(females)}
    columns = {he.animal: m for m, he in enumerate(males)}
    for he, she in forbid:
        if he in columns and she in rows:
            meet[rows[she], columns[he]] = False
    inbred = found.expected[np.ix_(hers, his)].copy()
    hole = np.minimum.outer(found.known[hers], found.known[his]) == 0
    inbred[hole & (found.high[np.ix_(hers, his)] == 0)] = np.nan
    f, m = np.nonzero(meet)
    days = {day: date.fromordinal(day) for day in np.unique(last[f, m]).tolist()}
    return pd.DataFrame(
        {
            "female": np.array([she.animal for she in females], dtype=object)[f],
            "male": np.array([he.animal for he in males], dtype=object)[m],
            "until": pd.Series([days[day] for day in last[f, m].tolist()], dtype=object),
            "inbreeding": inbred[f, m],
        }
    )


def _animal(one: Free, measures: Group) -> dict[str, object]:
    why = one.shut or one.growing
    return {
        "animal": one.animal,
        "sex": one.sex,
        "free_from": None if why else one.first,
        "free_until": None if why else one.last,
        "mean_kinship": measures.mean_kinship[one.animal],
        "why_not": why,
    }
