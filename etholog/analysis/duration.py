"""Durations: bouts, totals, shares of the time watched, rates. Bouts cut by the watching are counted apart."""

from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns, crossed, renamed
from etholog.analysis import design as designs
from etholog.analysis.blocks import blocks, codes, instants
from etholog.analysis.bout import join
from etholog.analysis.crossed import Estimate
from etholog.analysis.latency import ethograms_with, is_, named
from etholog.analysis.sequence import groups, in_order
from etholog.base.clock import LATER_MS
from etholog.season import Season

Floats = NDArray[np.float64]
Ints = NDArray[np.integer[Any]]

_COLUMNS = (
    "actor", "behaviour", "qualifier", "kind", "sessions", "count", "cut", "total_s", "share", "share_in_sight",
    "median_s", "median_low_s", "median_high_s", "per_hour", "per_hour_low", "per_hour_high", "share_low",
    "share_high", "typical_per_hour", "typical_low", "typical_high", "males", "females", "limits",
)  # fmt: skip


def duration(season: Season, by: str | None = None, join_s: float | None = None, seed: int = 0) -> pd.DataFrame:
    """Return how often, how long and for which share of the time each behaviour came, a row each.

    Parameters
    ----------
    season
        What `etholog.read` returned.
    by
        A column of `season.sessions`; there is then a row for each of its values that the behaviour came in.
    join_s
        First make one bout of bouts that lie so near, in seconds (see `bout.join`).
    seed
        Has no effect; it was the seed of limits by resampling.

    Returns
    -------
    DataFrame
        actor, behaviour, qualifier, kind: which. sessions: in how many it came. count: its bouts or events. cut:
        bouts whose end was not seen. total_s, share: seconds, and their share of the seconds watched, in the sessions
        whose ethogram has the behaviour, as all that follows. share_in_sight:
        of the seconds in which its actor was watched and in sight, the share in which it went on. per_hour: all of
        them by all hours in which its actor was watched and in sight. typical_per_hour: the same of the typical male,
        the geometric mean of males' own rates with half an event added to each. median_s: of one bout of a male taken
        at random, cut ones right-censored (males weighed alike).

        share_low, share_high, per_hour_low, per_hour_high, typical_low, typical_high, median_low_s, median_high_s:
        95 % limits, in which males and females vary; missing where too few animals were watched. males, females: how
        many were watched. limits: why some limits are missing, and what the others do not hold for.

    Raises
    ------
    Refusal
        Where `by` is no column of the sessions, or `join_s` no time.

    References
    ----------
    Kaplan & Meier 1958; Brookmeyer & Crowley 1982, Biometrics 38:29; Cameron, Gelbach & Miller 2011, J. Bus. Econ.
    Stat. 29:238. How often such limits hold: `tests/bench/calibration.py`.

    Examples
    --------
    >>> import etholog
    >>> found = etholog.duration(etholog.read("examples/season")).set_index("behaviour")
    >>> found.loc["drumming", ["count", "males", "females"]].tolist()
    [41, 6, 8]
    """
    sessions = columns.season(season).sessions
    if join_s is not None:
        columns.number(join_s, "join_s", 0.0)
    names, group = (["all"], np.zeros(len(sessions), dtype=np.int64)) if by is None else groups(season, by)
    bouts = season.bouts if join_s is None else join(season.bouts, join_s)
    kinds, kind_of = _kinds(season, bouts)
    per = _per_session(bouts, kind_of, len(sessions), len(kinds))
    length, whole = bouts["duration_s"].to_numpy(dtype=float), bouts["whole"].to_numpy(dtype=bool)
    order, ends = _sorted(kind_of, None if by is None else group[per.place], len(kinds), len(names))
    watched = sessions["watched_s"].to_numpy(dtype=float)
    seen, unseen = in_sight(season), _out_of_sight(season, bouts, kinds, kind_of)
    hours = np.array([seen.get(actor, watched) / 3600 for actor, *_ in kinds]).reshape(len(kinds), len(sessions)).T
    male, female = animals(season)
    asked = [asked_of(season, code, choice) for _, code, choice, _ in kinds]
    rows = []
    for value, name in enumerate(names):
        own = np.flatnonzero(group == value)
        for at, (actor, code, choice, kind) in enumerate(kinds):
            inside = own[asked[at][own]]
            count, total = per.bouts[inside, at], per.total[inside, at]
            his, hers = male[inside], female[inside]
            came = count > 0
            if not came.any():
                continue
            row: dict[str, Any] = {} if by is None else {by: name}
            row |= {"actor": actor, "behaviour": code, "qualifier": choice, "kind": kind}
            row |= {"sessions": int(came.sum()), "count": int(count.sum())}
            row["cut"] = int(per.cut[inside, at].sum())
            time = count.astype(np.float64), hours[inside, at], his, hers
            found = {"per_hour": crossed.ratio(*time, "log"), "typical": crossed.typical(*time)}
            if kind == "state":
                on, in_view = total.sum(), hours[inside, at].sum() * 3600
                row |= {"total_s": float(on), "share": _part(on, watched[inside].sum())}
                row["share_in_sight"] = _part(max(0.0, on - unseen[inside, at].sum()), in_view)
                its = order[ends[value * len(kinds) + at] : ends[value * len(kinds) + at + 1]]
                place = np.zeros(len(sessions), dtype=np.intp)
                place[inside[came]] = np.arange(int(came.sum()))
                who = crossed.crossing(his[came], hers[came]).at(place[per.place[its]])
                found["median"] = crossed.median(length[its], whole[its], who)
                found["share"] = crossed.ratio(total, watched[inside], his, hers, "logit")
            rows.append(row | _limits(found))
    whole_table = pd.DataFrame(rows, columns=[*([by] if by else []), *_COLUMNS])
    return renamed.with_old_names(whole_table, renamed.DURATION)


def asked_of(season: Season, behaviour: str, choice: str | None = None) -> NDArray[np.bool_]:
    """Return in which sessions a behaviour, or one value of its qualifier, could be recorded: those whose ethogram has
    it, and those in which it came (an earlier version of the ethogram had it)."""
    of = ethograms_with(season, behaviour, choice)
    asked = season.sessions["ethogram"].isin(of).to_numpy(copy=True)
    if not asked.all():
        name = behaviour if choice is None else f"{behaviour}:{choice}"
        asked[codes(season.bouts["session"])[named(season.bouts, [name])]] = True
    return np.asarray(asked)


def animals(season: Season) -> tuple[Ints, Ints]:
    """Return the number of each session's male and female; -1 where one has no name."""
    of = (season.sessions[sex] for sex in ("male", "female"))
    male, female = (pd.factorize(names.astype(object).where(designs.named(names)))[0] for names in of)
    return male.astype(np.int64), female.astype(np.int64)


def _limits(found: dict[str, Estimate]) -> dict[str, Any]:
    """Return the cells of a row: each estimate with its limits, on how many animals they rest, and why some are
    missing."""
    ends = {"per_hour": "per_hour{}", "typical": "typical{}", "median": "median{}_s", "share": "share{}"}
    values = {"per_hour": "per_hour", "typical": "typical_per_hour", "median": "median_s"}
    row: dict[str, Any] = {values[name]: one.value for name, one in found.items() if name in values}
    for name, one in found.items():
        row |= {ends[name].format("_low"): one.low, ends[name].format("_high"): one.high}
    words = {"per_hour": "rate", "typical": "typical male", "median": "median", "share": "share"}
    why: dict[str, list[str]] = {}
    for name, one in found.items():
        for reason in (one.why, one.note):
            if reason:
                why.setdefault(reason, []).append(words[name])
    told = [reason if len(of) == len(found) else f"{', '.join(of)}: {reason}" for reason, of in why.items()]
    watched = found["per_hour"]
    return row | {"males": watched.males, "females": watched.females, "limits": "; ".join(told)}


def time_shares(season: Season) -> pd.DataFrame:
    """Return how the time of each session was spent: its time budget (Martin & Bateson, ch. 5).

    Parameters
    ----------
    season: as `etholog.read` returned it.

    Returns
    -------
    One row for each session and each behaviour, actor and qualifier that came in it: count, cut (bouts whose begin
    or end nobody saw), total_s (seconds; NaN for events) and share (of the time watched), as in `duration`, which
    has the same over many sessions.

    Raises
    ------
    Refusal: for what is no season.

    >>> import etholog
    >>> etholog.time_shares(etholog.read("examples/season"))[["behaviour", "count"]].iloc[0].to_dict()
    {'behaviour': 'introduced', 'count': 1}
    """
    columns.season(season)
    kinds, kind_of = _kinds(season, season.bouts)
    per = _per_session(season.bouts, kind_of, len(season.sessions), len(kinds))
    per.total[:, [word != "state" for *_, word in kinds]] = np.nan
    watched = season.sessions["watched_s"].to_numpy(dtype=float)[:, None]
    share = np.divide(per.total, watched, out=np.full(per.total.shape, np.nan), where=watched > 0)
    came = np.flatnonzero(per.bouts)  # faster than a mask of every table
    row, kind = np.divmod(came.astype(np.int32), np.int32(max(1, len(kinds))))
    cells: dict[str, Any] = {
        "session": pd.Categorical.from_codes(row, categories=season.sessions["session"].cat.categories)
    }
    for at, name in enumerate(("actor", "behaviour", "qualifier", "kind")):
        words = sorted({str(one[at]) for one in kinds if one[at] is not None})
        number = np.array([words.index(str(one[at])) if one[at] is not None else -1 for one in kinds], dtype=np.int16)
        cells[name] = pd.Categorical.from_codes(number.take(kind), categories=pd.Index(words, dtype=object))
    numbers = {"count": per.bouts, "cut": per.cut, "total_s": per.total, "share": share}
    return pd.DataFrame(cells | {name: table.take(came) for name, table in numbers.items()}, copy=False)


class _PerSession(NamedTuple):
    """(sessions, kinds): bouts, those whose end nobody saw, and seconds; and of each bout its session's row."""

    bouts: Ints
    cut: Ints
    total: Floats
    place: Ints


def _per_session(bouts: pd.DataFrame, kind_of: Ints, sessions: int, kinds: int) -> _PerSession:
    place = codes(bouts["session"])
    length, whole = bouts["duration_s"].to_numpy(dtype=float), bouts["whole"].to_numpy(dtype=bool)
    cells = sessions * kinds
    count, cut = np.zeros(cells, dtype=np.int64), np.zeros(cells, dtype=np.int64)
    total = np.zeros(cells)
    for part in blocks(len(place)):
        # Bouts lie in the order of their sessions, so a block fills a short stretch of the tables.
        first, last = int(place[part.start]), int(place[part.stop - 1])
        cell = np.subtract(place[part], first, dtype=np.int32)
        cell *= np.int32(kinds)
        cell += kind_of[part]
        cell = cell.astype(np.intp)  # what bincount counts by, so that it is made once
        size = (last + 1 - first) * kinds
        own = slice(first * kinds, first * kinds + size)
        count[own] += np.bincount(cell, minlength=size)
        total[own] += np.bincount(cell, weights=length[part], minlength=size)
        cut[own] += np.bincount(cell[~whole[part]], minlength=size)
    shape = (sessions, kinds)
    return _PerSession(count.reshape(shape), cut.reshape(shape), total.reshape(shape), place)


def _kinds(season: Season, bouts: pd.DataFrame) -> tuple[list[tuple[str, str, str | None, str]], Ints]:
    """Return each (actor, behaviour, qualifier, kind) that came, in the ethogram's order, and each bout's number
    there."""
    parts_of = [bouts[name] for name in ("actor", "kind", "qualifier")]
    sizes = [len(column.cat.categories) + 1 for column in parts_of]
    behaviour, behaviours = codes(bouts["behaviour"]), bouts["behaviour"].cat.categories
    place = {name: at for at, name in enumerate(in_order(season, [str(name) for name in behaviours]))}
    cells = len(behaviours) * int(np.prod(sizes))
    small = np.int16 if cells < 2**15 else np.int64

    def kind(number: int) -> tuple[str, str, str | None, str]:
        parts = []
        for column, size in zip(reversed(parts_of), reversed(sizes), strict=True):
            number, at = divmod(number, size)
            parts.append(str(column.cat.categories[at - 1]) if at else None)
        choice, what, actor = parts
        return str(actor), str(behaviours[number]), choice, str(what)

    def order(number: int) -> tuple[int, int]:
        return place[kind(number)[1]], number

    came: list[int] = []
    places = np.full(cells, -1, dtype=np.int16)  # of each number in `came`
    kind_of = np.empty(len(bouts), dtype=np.int16)
    for part in blocks(len(bouts)):
        number: NDArray[Any] = behaviour[part].astype(small)
        for column, size in zip(parts_of, sizes, strict=True):
            number *= small(size)
            number += codes(column)[part]
            number += small(1)
        kind_of[part] = places.take(number)
        new = kind_of[part] < 0
        if new.any():
            came += sorted(np.unique(number[new]).tolist(), key=order)
            places[came] = np.arange(len(came))
            kind_of[part] = places.take(number)
    told = sorted(came, key=order)
    if told != came:
        rank = np.array([told.index(number) for number in came], dtype=np.int16)
        for part in blocks(len(bouts)):
            kind_of[part] = rank.take(kind_of[part])
    return [kind(number) for number in told], kind_of


def _sorted(kind_of: Ints, group: Ints | None, kinds: int, values: int) -> tuple[Ints, Ints]:
    """Return the bouts' rows sorted by (group, kind), those of no group left out, and where each cell begins."""
    cells = kinds * values
    key = kind_of
    if group is not None:
        # Numbers of 16 bits are sorted several times faster.
        key = np.where(group < 0, cells, group * kinds + kind_of).astype(np.int16 if cells < 2**15 - 1 else np.int64)
    starts = np.concatenate([[0], np.cumsum(np.bincount(key, minlength=cells + 1)[:cells])])
    return np.argsort(key, kind="stable"), starts


def _part(some: float, of: float) -> float:
    return float(some / of) if of else np.nan


class _Hidden(NamedTuple):
    """The spans in which an actor was out of sight, none over another, in the order of their sessions; milliseconds
    that count on from session to session."""

    start: Ints
    end: Ints

    def before(self, at: Ints) -> Ints:
        """Return for how long it was out of sight before each instant."""
        length = self.end - self.start
        span = np.searchsorted(self.start, at, side="right") - 1
        since = np.minimum(at, self.end[span]) - self.start[span]
        return np.where(span < 0, 0, (np.cumsum(length) - length)[span] + since)


def _hidden(season: Season, actor: str) -> _Hidden:
    """Return when an actor was out of sight; of the pair, one of them."""
    bouts = season.bouts
    rows = bouts["hides"].to_numpy()
    if actor != "pair" and rows.any():
        rows = rows & is_(bouts["actor"], actor)
    own = bouts[rows]
    start, end = (instants(codes(own["session"]), own[name].to_numpy()) for name in ("onset_s", "offset_s"))
    last = np.maximum.accumulate(end)
    apart = np.flatnonzero(start[1:] > last[:-1]) + 1
    first = np.concatenate([[0], apart]) if len(start) else apart
    return _Hidden(start[first], np.maximum.reduceat(end, first) if len(start) else end)


def _out_of_sight(
    season: Season, bouts: pd.DataFrame, kinds: list[tuple[str, str, str | None, str]], kind_of: Ints
) -> Floats:
    """Return (sessions, kinds): the seconds in which a state went on while its actor was out of sight."""
    shape = (len(season.sessions), len(kinds))
    lost = np.zeros(shape)
    for actor in ("male", "female", "pair") if season.bouts["hides"].any() else ():
        hidden = _hidden(season, actor)
        if not len(hidden.start):
            continue
        own = np.array([one == actor and kind == "state" for one, _, _, kind in kinds])
        rows = np.flatnonzero(own[kind_of])
        part = bouts.iloc[rows]
        place = codes(part["session"])
        onset, offset = (instants(place, part[name].to_numpy()) for name in ("onset_s", "offset_s"))
        unseen = hidden.before(offset) - hidden.before(onset)
        cell = place.astype(np.intp) * len(kinds) + kind_of[rows]
        lost += np.bincount(cell, weights=unseen / 1000, minlength=lost.size).reshape(shape)
    return lost


def in_sight(season: Season) -> dict[str, Floats]:
    """Return the seconds of each session in which an actor was watched and in sight; for the pair, both of them."""
    watched = season.sessions["watched_s"].to_numpy(dtype=float)
    seen = {}
    for actor in ("male", "female", "pair"):
        hidden = _hidden(season, actor)
        lost = np.bincount(hidden.start // LATER_MS, weights=(hidden.end - hidden.start) / 1000, minlength=len(watched))
        seen[actor] = np.clip(watched - lost, 0.0, None).astype(np.float64)
    return seen
