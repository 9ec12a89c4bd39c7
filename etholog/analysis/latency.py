"""Latencies: from a reference to the first onset of a behaviour, one row a session, unfinished ones right-censored.

What a latency is stands in `session.latency`; this is the same over tables, all sessions at once, and a property test
holds the two equal.
"""

from collections.abc import Mapping, Sequence
from typing import Any, get_args

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns
from etholog.analysis.blocks import BLOCK, begins, codes
from etholog.analysis.ending import for_good
from etholog.analysis.order import order
from etholog.base.language import gettext
from etholog.base.refusal import Refusal
from etholog.base.text import in_words, nearest
from etholog.ethogram import Ethogram, Interval, Role, known_marks
from etholog.season import Season
from etholog.session.latency import OCCURRED, UNSEEN, WATCHING_ENDED, Unseen, hiding_actors

Ints = NDArray[np.integer[Any]]


def latency(
    season: Season,
    interval: str | None = None,
    *,
    since: str | Sequence[str] | None = None,
    to: str | Sequence[str] | None = None,
    unseen: Unseen = "keep",
    competing: bool = False,
    ends: str | Sequence[str] | None = None,
) -> pd.DataFrame:
    """Return one row for each session in which `since` happened: how long it took until `to`.

    Each session is measured by the interval of its own ethogram; where that has none of the name, it has no row.

    Parameters
    ----------
    season: as `etholog.read` returned it.
    interval: the name of an interval of the ethograms ('courtship'); or instead
    since, to: behaviours from whose first onset, and to whose first onset, the time goes.
    unseen: 'censor' ends the time at the first gap, or when an actor of `to` first goes out of sight; 'keep' goes
        on.
    competing: name what closed an evening for good before `to` came (see `analysis.ending`); what only happened on
        the way, such as a flight, ends nothing. See `first_ends` for what came first how often.
    ends: behaviours at the first of which the time ends all the same.

    Returns
    -------
    The columns of `season.sessions`, the session's place in the order of all (male_session, pair_session and
    male_days_since_session; see `analysis.order`), and

    latency_s: seconds from the first `since` to the first `to` at or after it, gaps not counted; or until the
    session was last under watch. occurred: whether `to` came; where not, the latency is right-censored (Martin &
    Bateson, ch. 5; Kaplan & Meier 1958). ended_by: why the time ended: 'occurred', 'watching ended', 'unseen', or
    the code of a competing end.

    `attrs`: label, since, to, intervals (since and to by the name of the ethogram), ends, unseen, competing,
    without_since, touched (sessions with a gap or out of sight in their time), followed (sessions that ended at one of
    the named `ends`, in which `to` came later all the same; None where none is named) and without_interval (sessions
    whose ethogram has none of the name).

    Raises
    ------
    Refusal: for a name that no ethogram knows, with the nearest.

    >>> import etholog
    >>> times = etholog.latency(etholog.read("examples/season"), "courtship")
    >>> len(times), int(times["occurred"].sum()), times["latency_s"].iloc[0].item()
    (28, 22, 692.753)
    """
    columns.one_of(unseen, "unseen", get_args(Unseen))
    meant = asked(season, interval, since, to)
    return _measured(season, meant, unseen, competing, columns.words(ends, "ends"))


def courtship(season: Season) -> pd.DataFrame:
    """Return how long until he courted, as `latency` does, by the interval that has this role in each session's
    ethogram; empty where none has one."""
    found = {of: one for of, kept in season.ethograms.items() if (one := kept.with_role("courtship"))}
    return _measured(season, found, "keep", False, ())


def _measured(
    season: Season,
    asked: dict[str, Interval],
    unseen: Unseen,
    competing: bool,
    rivals: Sequence[str],
) -> pd.DataFrame:
    if rivals:
        check_names(season, rivals)
    label = gettext(", or ").join(dict.fromkeys(one.words for one in asked.values()))
    bouts, sessions = season.bouts, season.sessions
    of_kind = sessions["ethogram"].astype(object)
    defined = of_kind.isin(list(asked)).to_numpy()
    place, onset = codes(bouts["session"]), bouts["onset_s"].to_numpy()
    count = len(sessions)
    end = sessions["length_s"].to_numpy(dtype=float)
    begin = np.flatnonzero(begins(place))
    own = place[begin]  # sessions without a bout have no row to begin at

    def at(row: Ints) -> NDArray[np.float64]:
        """Return the onsets at these rows, session by session; infinite where there is none."""
        out = np.full(count, np.inf)
        out[own[row >= 0]] = onset[row[row >= 0]]
        return out

    after: Ints = begin
    start = np.where(defined, 0.0, np.inf)
    later = defined & of_kind.isin([of for of, one in asked.items() if one.since]).to_numpy()
    if later.any():
        first = _first(begin, begin, of_each(season, {of: one.since for of, one in asked.items()}))
        start = np.where(later, at(first), start)
        after = np.where(later[own], _of_one_instant(begin, np.maximum(first, begin), onset), begin)
    at_risk = np.isfinite(start)
    wanted = of_each(season, {of: one.to for of, one in asked.items()})
    found = at(_first(begin, after, wanted))
    stop = np.where(np.isfinite(found), found, end)
    why = np.full(count, WATCHING_ENDED, dtype=object)
    why[np.isfinite(found)] = OCCURRED
    came: NDArray[np.object_] = np.full(count, None, dtype=object)
    over = np.full(count, np.inf)
    followed = None
    if rivals:
        row = _first(begin, after, named(bouts, rivals))
        over = at(row)
        code = np.zeros(count, dtype=np.intp)
        code[own] = codes(bouts["behaviour"])[row]
        came = bouts["behaviour"].cat.categories.to_numpy(dtype=object)[code]
        followed = int((at_risk & (over < found) & np.isfinite(found)).sum())
    elif competing:
        over, came = for_good(season)
    wins = over < found
    why[wins] = came[wins]
    stop = np.where(wins, over, stop)
    hidden = _first_unseen(season, asked, start, count)
    touched = hidden < stop
    if unseen == "censor":
        why[touched] = UNSEEN
        stop = np.where(touched, hidden, stop)
    times = sessions.loc[at_risk].reset_index(drop=True)
    lost = _gap_time(season, start, stop)
    # Times are whole milliseconds: what subtraction leaves beside them would part two that are one.
    times["latency_s"] = (stop - start - lost)[at_risk].clip(min=0.0).round(3)
    times["occurred"] = (why == OCCURRED)[at_risk]
    times["ended_by"] = pd.Categorical(why[at_risk])
    for name, column in order(sessions)[at_risk].items():
        times[name] = column.to_numpy()
    times.attrs = {
        "label": label,
        "since": list(dict.fromkeys(code for one in asked.values() for code in one.since)),
        "to": list(dict.fromkeys(code for one in asked.values() for code in one.to)),
        "intervals": {of: {"since": list(one.since), "to": list(one.to)} for of, one in asked.items()},
        "ends": list(rivals) or sorted(set(map(str, why[wins & at_risk]))),
        "unseen": unseen,
        "competing": competing or bool(rivals),
        "without_since": int((defined & ~at_risk).sum()),
        "touched": int(touched.sum()),
        "followed": followed,
        "without_interval": int(count - defined.sum()),
    }
    return times


def named(bouts: pd.DataFrame, names: Sequence[str]) -> NDArray[np.bool_]:
    """Return which bouts are of one of the names: 'insertion', or 'insertion:left' for one value of its qualifier."""
    found = np.zeros(len(bouts), dtype=bool)
    for name in names:
        code, _, choice = name.partition(":")
        one = is_(bouts["behaviour"], code)
        found |= one & is_(bouts["qualifier"], choice) if choice else one
    return found


def of_each(season: Season, names: Mapping[str, Sequence[str]]) -> NDArray[np.bool_]:
    """Return which bouts are of the names that hold for their session's ethogram (`names`: by its name)."""
    kinds: dict[tuple[str, ...], list[str]] = {}
    for kind, own in names.items():
        kinds.setdefault(tuple(own), []).append(kind)
    if len(kinds) == 1 and set(names) >= set(season.ethograms):
        return named(season.bouts, next(iter(kinds)))
    found = np.zeros(len(season.bouts), dtype=bool)
    for own, of in kinds.items():
        theirs = season.sessions["ethogram"].isin(of).to_numpy()
        found |= named(season.bouts, own) & theirs[codes(season.bouts["session"])]
    return found


def is_(column: pd.Series, value: str) -> NDArray[np.bool_]:
    """Return where a column of categories has this value, by its number: strings are never compared."""
    known = column.cat.categories
    return np.asarray(codes(column) == known.get_loc(value)) if value in known else np.zeros(len(column), dtype=bool)


def known_names(season: Season) -> list[str]:
    """Return every name of a behaviour that the season's ethograms know."""
    return known_marks(b for kept in season.ethograms.values() for b in kept.behaviour)


def ethograms_with(season: Season, behaviour: str, choice: str | None = None) -> list[str]:
    """Return the names of the ethograms that have a behaviour, or that value of its qualifier; in the sessions of
    others nobody looked for it."""
    name = behaviour if choice is None else f"{behaviour}:{choice}"
    return [of for of, kept in season.ethograms.items() if name in known_marks(kept.behaviour)]


def check_names(season: Season, names: Sequence[str]) -> None:
    """Raise Refusal, with the nearest names, for a behaviour that no ethogram of the season knows."""
    _some_session(season)
    known = known_names(season)
    for name in names:
        if columns.word(name, "behaviour") not in known:
            raise Refusal(f"no behaviour {name!r} in these sessions' ethograms{nearest(name, known)}")


def of_role(bouts: pd.DataFrame, role: Role) -> NDArray[np.bool_]:
    """Return which bouts have the role in their own session's ethogram."""
    return is_(bouts["role"], role)


def check_role(season: Season, role: Role) -> None:
    """Raise Refusal, with the line to write, where the ethogram of any session has no behaviour of the role."""
    _some_session(season)
    for kept in season.ethograms.values():
        if missing := kept.missing(role):
            raise Refusal(missing)


def _some_session(season: Season) -> None:
    if columns.season(season).sessions.empty:
        raise Refusal(f"{season.folder}: no session in it; name a folder that has one")


def asked(
    season: Season, interval: str | None, since: str | Sequence[str] | None, to: str | Sequence[str] | None
) -> dict[str, Interval]:
    """Return what is asked of the sessions of each ethogram, by its name."""
    _some_session(season)
    if interval is not None:
        if since or to:
            raise Refusal(f"name the interval {interval!r}, or two behaviours: not both")
        columns.word(interval, "interval")
        found = {
            of: one
            for of, kept in season.ethograms.items()
            if (one := {i.name: i for i in kept.interval}.get(interval) or _with_role(kept, interval))
        }
        if not found:
            known = sorted({i.name for kept in season.ethograms.values() for i in kept.interval})
            raise Refusal(f"no interval {interval!r}{nearest(interval, known)}; or name any two behaviours")
        return found
    if not to:
        raise Refusal("say which latency: the name of an interval, or the behaviour that it runs to")
    first, last = (columns.words(names, "behaviour") for names in (since, to))
    check_names(season, [*first, *last])
    since_words, to_words = (" or ".join(in_words(name, season.labels) for name in names) for names in (first, last))
    label = f"from {since_words or 'the start'} to {to_words}"
    return dict.fromkeys(season.ethograms, Interval(name="asked", label=label[:160], since=first, to=last))


def _with_role(kept: Ethogram, name: str) -> Interval | None:
    """Return the interval that has the role of this name: one may ask for the courtship whatever it is called."""
    return next((i for i in kept.interval if kept.role_of_interval.get(i.name) == name), None)


def _first(begin: Ints, after: Ints, which: NDArray[np.bool_]) -> Ints:
    """Return, for each session, its first row among `which` from `after` on; -1 where there is none. Bouts lie in the
    order of session and onset, and those of a session begin at row `begin`."""
    found = np.empty(len(begin), dtype=np.intp)
    ends = np.append(begin, len(which))
    block = max(1, BLOCK * len(begin) // max(1, len(which)))  # sessions
    for at in range(0, len(begin), block):
        own = slice(at, at + block)
        low, high = ends[at], ends[min(at + block, len(begin))]
        left = np.arange(high - low, 0, -1, dtype=np.int32)
        left *= which[low:high]
        # Each session's rows in two: those before `after`, which don't count, and those from it on.
        most = np.maximum.reduceat(left, np.column_stack([begin[own], after[own]]).reshape(-1) - low)[1::2]
        found[own] = np.where(most > 0, high - most, -1)
    return found


def _of_one_instant(begin: Ints, row: Ints, onset: NDArray[np.float64]) -> Ints:
    """Return the first row of each session that has the same onset as its `row`."""
    while (same := (row > begin) & (onset[row - 1] == onset[row])).any():
        row = row - same
    return row


def hiding(season: Season, to: Mapping[str, Sequence[str]]) -> pd.DataFrame:
    """Return the bouts in which an actor of what is waited for (`to`: by the name of the ethogram) is out of sight."""
    bouts = season.bouts
    hides = np.flatnonzero(bouts["hides"].to_numpy())
    if len(hides):
        kinds, actors = season.sessions["ethogram"].cat, bouts["actor"].cat.categories
        hidden_from = np.zeros((len(kinds.categories), len(actors)), dtype=bool)
        for of, names in to.items():
            hidden_from[kinds.categories.get_loc(of)] = actors.isin(hiding_actors(season.ethograms[of], names))
        kind = kinds.codes.to_numpy()[codes(bouts["session"])[hides]]
        hides = hides[hidden_from[kind, codes(bouts["actor"])[hides]]]
    return bouts.iloc[hides]


def intervals(times: pd.DataFrame) -> dict[str, dict[str, list[str]]]:
    """Return since and to of a table of `latency`, by the name of the ethogram; Refusal for another table."""
    if "intervals" not in times.attrs:
        raise Refusal("times: give what etholog.latency returned for this season")
    found: dict[str, dict[str, list[str]]] = times.attrs["intervals"]
    return found


def _first_unseen(
    season: Season, asked: Mapping[str, Interval], start: NDArray[np.float64], count: int
) -> NDArray[np.float64]:
    """Return since when each session was first unwatched, or an actor of `to` out of sight, at some time after its
    start."""
    first = np.full(count, np.inf)
    for rows in (hiding(season, {of: one.to for of, one in asked.items()}), season.gaps):
        place = rows["session"].cat.codes.to_numpy()
        after = rows["offset_s"].to_numpy() > start[place]
        np.minimum.at(first, place[after], rows["onset_s"].to_numpy()[after])
    return first


def _gap_time(season: Season, start: NDArray[np.float64], stop: NDArray[np.float64]) -> NDArray[np.float64]:
    place = season.gaps["session"].cat.codes.to_numpy()
    onset, offset = season.gaps["onset_s"].to_numpy(), season.gaps["offset_s"].to_numpy()
    inside = np.minimum(offset, stop[place]) - np.maximum(onset, start[place])
    lost = np.bincount(place, weights=np.clip(inside, 0, None), minlength=len(start))
    return lost.astype(np.float64)
