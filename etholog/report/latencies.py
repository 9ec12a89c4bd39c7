"""How long until it came: one section a named interval; for one session a table of all."""

from collections.abc import Iterator
from functools import partial

import pandas as pd

from etholog import figures
from etholog.analysis.compare import Comparison, compare
from etholog.analysis.incidence import incidence
from etholog.analysis.latency import latency
from etholog.analysis.sensitivity import sensitivity, sentences
from etholog.ethogram import Interval
from etholog.figures.style import label
from etholog.report.content import Section, Table, table
from etholog.report.fewer import evenly, most_males
from etholog.report.svg import Drawings
from etholog.season import Season
from etholog.session.summary import span

MOST_PAIRS = 30  # the least p first
CENSORED = (
    "A session that ended without it is neither dropped nor called zero: its time counts as censored where the"
    " watching ended (Martin & Bateson, Measuring Behaviour)."
)
SURVIVAL = (
    "How the share of sessions still without it falls with time. Bands: 95 % limits. Upright ticks: sessions that"
    " ended without it. Beneath the clock: sessions still at risk. Grey, where each male has a panel: the others."
)
ALIGNED = (
    "The quickest at the top: what she does above, he beneath, both between. Full dot: it came."
    " Ring: the watching ended without it."
)
ENDS = (
    "What came first, by Aalen and Johansen: it, or what closed the evening for good. The curves above take the"
    " sessions that ended so as if it might still have come."
)


def latencies(season: Season, drawings: Drawings) -> Iterator[Section]:
    """Yield a section for each named interval that began in any session, males compared."""
    for place, name in enumerate(_intervals(season)):
        times = latency(season, name)
        if not len(times):
            continue
        found = compare(times, "male")
        question = f"How long {times.attrs['label']}?"
        curves, told = most_males(times)
        pictures = [drawings.picture(partial(figures.survival, curves, by="male"), SURVIVAL + told, question)]
        first = _first_ends(season, name)
        if first is not None:
            pictures.append(drawings.picture(partial(figures.ends, first), ENDS, f"{question} Or what came first."))
        if not place:  # once: for the others the sessions are the same
            rows, told = evenly(times.sort_values(["latency_s", "session"], kind="stable"), "quickest to the slowest")
            draw = partial(figures.aligned, season, rows)
            pictures.append(drawings.picture(draw, ALIGNED + told, f"{question} Every session."))
        yield Section(
            f"latency-{name}",
            question,
            _latency_answer(times),
            pictures,
            [_by_male(found, name), *_each_two(found, name)],
            "Kaplan and Meier's estimate with log-log limits of 95 %; means within the first"
            f" {span(1000 * found.horizon_s)}, the longest time to which every curve is known; the log-rank test by"
            f" permutation. {CENSORED}",
            "Kaplan & Meier 1958; Kalbfleisch & Prentice 1980; Mantel 1966; Peto & Peto 1972; Heimann & Neuhaus 1998"
            + ("; Aalen & Johansen 1978." if first is not None else "."),
            [found.sentence, *_otherwise(season, name, times, found), *_left_out(times)],
            "Why one male is quicker: males and females did not meet at random. And where a keeper ended a session"
            " because of what he saw coming, the time left out is not like the time watched.",
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
    """Return the share that came to each end first, where something closed an evening before it came."""
    times = latency(season, name, competing=True)
    ends = times.attrs["ends"]
    if not ends:
        return None
    named = figures.names(season)
    told = {"occurred": "it came", **{end: label(end, named) for end in ends}}
    return incidence(times.assign(end=times["ended_by"].astype(str).map(told)), "end")


def _latency_answer(times: pd.DataFrame) -> str:
    from etholog.analysis.survival import kaplan_meier, quantile

    came, all_of_them = int(times["occurred"].sum()), len(times)
    said = f"It came in {came} of {all_of_them} sessions"
    time, occurred = times["latency_s"].to_numpy(dtype=float), times["occurred"].to_numpy(dtype=bool)
    median, _, _ = quantile(kaplan_meier(time, occurred))
    if median != median:
        return f"{said}: in too few to say by when half of all would have shown it."
    return f"{said}, in half of all within {span(1000 * median)}."


def _otherwise(season: Season, name: str, times: pd.DataFrame, found: Comparison) -> Iterator[str]:
    """Say what the p would be had what nobody saw, or the keeper's ending of it, been otherwise."""
    censored = latency(season, name, unseen="censor") if times.attrs["touched"] else None
    yield from sentences(sensitivity(times, found.by, found.within or "none", otherwise=censored))


def _left_out(times: pd.DataFrame) -> Iterator[str]:
    about = times.attrs
    if about["without_since"]:
        yield f"{about['without_since']} more sessions never came to where this time begins, and are not counted."
    if about["without_interval"]:
        yield f"{about['without_interval']} sessions are of an ethogram without this latency, and left out."


def _by_male(found: Comparison, interval: str) -> Table:
    heads = {
        "male": "male", "n": "sessions", "occurred": "it came", "median_s": "median, s", "median_low_s": "from, s",
        "median_high_s": "to, s", "q25_s": "first quarter by, s", "q75_s": "third quarter by, s",
        "mean_s": f"mean within {span(1000 * found.horizon_s)}, s", "mean_se_s": "its standard error, s",
        "females": "females met", "why": "what is missing, and why",
    }  # fmt: skip
    return table(
        found.table.reset_index(),
        "By male. An empty cell: not reached in these sessions.",
        heads,
        rest=f"etholog latency {interval} --by male --more",
    )


def _each_two(found: Comparison, interval: str) -> Iterator[Table]:
    if not len(found.pairs):
        return
    heads = {
        "first": "first", "second": "second", "first_n": "sessions of the first", "second_n": "of the second",
        "p": "p", "p_holm": "p after Holm", "difference_s": "difference of means, s",
        "first_sooner": "share in which the first was sooner", "first_sooner_low": "from", "first_sooner_high": "to",
        "ordered_pairs": "pairs with an order", "why": "what is missing, and why",
    }  # fmt: skip
    told = "Each two males: a permutation test, and what it means in seconds"
    if found.within:
        told += f"; only sessions with one and the same {found.within} are compared"
    pairs = found.pairs.sort_values(["p_holm", "p"], kind="stable")
    yield table(pairs, f"{told}.", heads, MOST_PAIRS, f"etholog latency {interval} --by male --more")
