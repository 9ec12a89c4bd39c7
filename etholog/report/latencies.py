"""How long until it came: one section a named interval; for one session a table of all."""

from collections.abc import Iterator

import pandas as pd

from etholog import figures
from etholog.analysis.compare import Comparison, compare
from etholog.analysis.incidence import incidence
from etholog.analysis.latency import latency
from etholog.ethogram import Interval
from etholog.figures.style import label
from etholog.report.content import Section, Table, table
from etholog.report.svg import Drawings
from etholog.season import Season
from etholog.session.summary import span

CENSORED = (
    "A session that ended without it is neither dropped nor called zero: its time counts as censored where the"
    " watching ended (Martin & Bateson, Measuring Behaviour)."
)
SURVIVAL = (
    "How the share of sessions still without it falls with time. Bands: 95 % limits. Upright ticks: sessions that"
    " ended without it. Beneath the clock: sessions still at risk. Grey, where each male has a panel: the others."
)
ALIGNED = (
    "Every session, the quickest at the top: what she does above, he beneath, both between. Full dot: it came."
    " Ring: the watching ended without it."
)
ENDS = (
    "What came first, by Aalen and Johansen: it, or one of the ends after which it no longer could. The curves above"
    " take the sessions that ended so as if it might still have come."
)


def latencies(season: Season, drawings: Drawings) -> Iterator[Section]:
    """Yield a section for each named interval that began in any session, males compared."""
    for place, name in enumerate(_intervals(season)):
        times = latency(season, name)
        if not len(times):
            continue
        found = compare(times, "male")
        question = f"How long {times.attrs['label']}?"
        pictures = [drawings.picture(figures.survival(times, by="male"), SURVIVAL, question)]
        first = _first_ends(season, name)
        if first is not None:
            pictures.append(drawings.picture(figures.ends(first), ENDS, f"{question} Or what came first."))
        if not place:  # once: for the others the sessions are the same
            pictures.append(drawings.picture(figures.aligned(season, times), ALIGNED, f"{question} Every session."))
        yield Section(
            f"latency-{name}",
            question,
            _latency_answer(times),
            pictures,
            [_by_male(found), *_each_two(found)],
            "Kaplan and Meier's estimate with log-log limits of 95 %; means restricted to the shortest of the groups'"
            f" longest times, {found.horizon_s:,.0f} s; log-rank test and its permutation version. {CENSORED}",
            "Kaplan & Meier 1958; Kalbfleisch & Prentice 1980; Mantel 1966; Peto & Peto 1972"
            + ("; Aalen & Johansen 1978." if first is not None else "."),
            [found.sentence, *_touched(times)],
            "Why one male is quicker: nobody drew lots for who met whom. And where a keeper ended a session because of"
            " what he saw coming, the time left out is not like the time watched.",
        )


def soon(season: Season) -> Iterator[Section]:
    """Yield one section on all intervals of a single session."""
    rows = []
    for name, interval in _intervals(season).items():
        times = latency(season, name)
        for row in times.to_dict("records"):
            rows.append({"what": interval.label, "seconds": row["latency_s"], "came": bool(row["occurred"])})
    if rows:
        came = [row for row in rows if row["came"]]
        first = ", ".join(f"{row['what']}: {span(1000 * row['seconds'])}" for row in came)
        frame = pd.DataFrame(rows)
        yield Section(
            "latencies",
            "How soon did it go on?",
            f"{first[:1].upper()}{first[1:]}." if came else "Nothing that is asked for came while somebody watched.",
            tables=[table(frame, "Times; where it did not come, how long it was waited for.",
                          {"what": "time", "seconds": "seconds", "came": "it came"})],
            method=CENSORED,
            source="Martin & Bateson, Measuring Behaviour.",
            unsaid="How soon he would be with another female, or on another evening.",
        )  # fmt: skip


def _intervals(season: Season) -> dict[str, Interval]:
    return {interval.name: interval for kept in season.ethograms.values() for interval in kept.interval}


def _first_ends(season: Season, name: str) -> pd.DataFrame | None:
    """Return the share that came to each end first, where one came after which the behaviour no longer could."""
    if not any(i.ends for kept in season.ethograms.values() for i in kept.interval if i.name == name):
        return None
    times = latency(season, name, competing=True)
    ends = times.attrs["ends"]
    end = times["ended_by"].astype(str)
    named = figures.names(season)
    told = {"occurred": "it came", **{code: label(code, named) for code in ends}}
    if not end.isin(ends).any():
        return None
    return incidence(times.assign(end=end.map(told)), "end")


def _latency_answer(times: pd.DataFrame) -> str:
    from etholog.analysis.survival import kaplan_meier, quantile

    came, all_of_them = int(times["occurred"].sum()), len(times)
    said = f"It came in {came} of {all_of_them} sessions"
    time, occurred = times["latency_s"].to_numpy(dtype=float), times["occurred"].to_numpy(dtype=bool)
    median, low, high = quantile(kaplan_meier(time, occurred))
    if median != median:
        return f"{said}: in too few to say by when half of all would have shown it."
    said += f", in half of all within {span(1000 * median)}"
    if low != low:
        return f"{said}; too few for limits."
    to = span(1000 * high) if high == high else "more than these sessions reach"
    return f"{said} (95 % limits: {span(1000 * low)} to {to})."


def _touched(times: pd.DataFrame) -> Iterator[str]:
    about = times.attrs
    if about["without_since"]:
        yield f"{about['without_since']} more sessions never came to where this time begins, and are not counted."
    if about["without_interval"]:
        yield f"{about['without_interval']} sessions are of an ethogram without this latency, and left out."
    if about["touched"]:
        yield f"In {about['touched']} sessions nobody watched, or an animal was out of sight, for part of this time."


def _by_male(found: Comparison) -> Table:
    heads = {
        "male": "male", "n": "sessions", "occurred": "it came", "median_s": "median, s", "median_low_s": "from, s",
        "median_high_s": "to, s", "q25_s": "first quarter by, s", "q75_s": "third quarter by, s",
        "mean_s": "restricted mean, s", "mean_se_s": "its standard error, s", "females": "females met",
    }  # fmt: skip
    return table(found.table.reset_index(), "By male. An empty cell: not reached in these sessions.", heads)


def _each_two(found: Comparison) -> Iterator[Table]:
    if not len(found.pairs):
        return
    heads = {
        "first": "first", "second": "second", "p": "p", "p_holm": "p after Holm",
        "difference_s": "difference of means, s", "difference_low_s": "from, s", "difference_high_s": "to, s",
        "first_sooner": "share in which the first was sooner",
    }  # fmt: skip
    yield table(found.pairs, "Each two males: log-rank test, and what it means in seconds.", heads)
