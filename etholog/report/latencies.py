"""How long until it came: one section a named interval; for one session a table of all."""

from collections.abc import Iterator
from functools import partial

import pandas as pd

from etholog.analysis.compare import Comparison, compare
from etholog.analysis.incidence import of_sexes
from etholog.analysis.latency import latency
from etholog.analysis.sensitivity import sensitivity, sentences
from etholog.analysis.sentences.latency import of_sessions
from etholog.base.language import gettext, gettext_noop, ngettext
from etholog.base.text import in_words
from etholog.report import drawing
from etholog.report.content import Picture, Section, Table, table
from etholog.report.fewer import evenly, most_males
from etholog.report.measured import Measured
from etholog.report.svg import Drawings
from etholog.season import Season
from etholog.session.summary import span

METHOD = gettext_noop(
    "Kaplan and Meier's estimate with log-log limits of 95 %; means within the first {horizon}, the longest time to"
    " which every curve is known; the log-rank test by permutation."
)
MOST_PAIRS = 30  # the least p first
HOW_CENSORED = gettext_noop(
    "A session that ended without it is neither dropped nor called zero: its time counts"
    " as censored where the watching ended (Martin & Bateson, Measuring Behaviour)."
)
SURVIVAL = gettext_noop(
    "How the share of sessions still without it falls with time. Bands: 95 % limits."
    " Upright ticks: sessions that ended without it. Beneath the clock: sessions still at"
    " risk. Grey, where each male has a panel: the others."
)
ALIGNED = gettext_noop(
    "The quickest at the top: what she does above, he beneath, both between. Full dot: it"
    " came. Ring: the watching ended without it."
)
ENDS = gettext_noop(
    "What came first, by Aalen and Johansen: it, or what closed the evening for good. The"
    " curves above take the sessions that ended so as if it might still have come."
)


def latencies(season: Season, measured: Measured, drawings: Drawings) -> Iterator[Section]:
    """Return a section for each named interval that began in any session, males compared.

    All that other processes do is begun when this returns.
    """
    times = measured.latencies
    compared = {name: drawings.ahead(partial(_compared, season, name, own)) for name, own in times.items()}
    ends = {name: _first_ends(season, name) for name in times}
    # Every session once: for the other intervals the sessions are the same.
    pictures = {
        name: _pictures(season, own, ends[name], not place, drawings) for place, (name, own) in enumerate(times.items())
    }
    return (
        _section(name, own, *compared[name](), pictures[name], rivals=ends[name] is not None)
        for name, own in times.items()
    )


def _question(times: pd.DataFrame) -> str:
    return gettext("How long {interval}?", interval=times.attrs["label"])


def _pictures(
    season: Season, times: pd.DataFrame, ends: pd.DataFrame | None, every: bool, drawings: Drawings
) -> list[Picture]:
    question = _question(times)
    curves, told = most_males(times)
    pictures = [drawings.picture(partial(drawing.survival, curves), gettext(SURVIVAL) + told, question)]
    if ends is not None:
        pictures.append(
            drawings.picture(
                partial(drawing.ends, ends), gettext(ENDS), question + " " + gettext("Or what came first.")
            )
        )
    if every:
        rows, told = evenly(
            times.sort_values(["latency_s", "session"], kind="stable"), gettext("quickest to the slowest")
        )
        draw = partial(drawing.aligned, season, rows)
        pictures.append(drawings.picture(draw, gettext(ALIGNED) + told, question + " " + gettext("Every session.")))
    return pictures


def _section(
    name: str, times: pd.DataFrame, found: Comparison, otherwise: list[str], pictures: list[Picture], rivals: bool
) -> Section:
    return Section(
        f"latency-{name}",
        _question(times),
        of_sessions(times)[0],
        pictures,
        [_by_male(found, name), *_each_two(found, name)],
        gettext(METHOD, horizon=span(1000 * found.horizon_s)) + " " + gettext(HOW_CENSORED),
        "Kaplan & Meier 1958; Kalbfleisch & Prentice 1980; Mantel 1966; Peto & Peto 1972; Heimann & Neuhaus 1998"
        + ("; Aalen & Johansen 1978." if rivals else "."),
        [found.sentence, *otherwise, *_left_out(times)],
        gettext(
            "Why one male is quicker: males and females did not meet at random. And where a"
            " keeper ended a session because of what he saw coming, the time left out is not like"
            " the time watched."
        ),
    )


def soon(season: Season, measured: Measured) -> Iterator[Section]:
    """Yield one section on all intervals of a single session."""
    rows = []
    for name, times in measured.latencies.items():
        for row in times.to_dict("records"):
            what = measured.intervals[name].words
            rows.append({"what": what, "seconds": row["latency_s"], "came": bool(row["occurred"])})
    if rows:
        came = [row for row in rows if row["came"]]
        first = ", ".join(f"{row['what']}: {span(1000 * row['seconds'])}" for row in came)
        frame = pd.DataFrame(rows)
        yield Section(
            "latencies",
            gettext("How soon did it go on?"),
            f"{first[:1].upper()}{first[1:]}."
            if came
            else gettext("Nothing that is asked for came while somebody watched."),
            tables=[
                table(
                    frame,
                    gettext("Times; where it did not come, how long it was waited for."),
                    {"what": gettext_noop("time"), "seconds": gettext_noop("seconds"), "came": gettext_noop("it came")},
                )
            ],
            method=gettext(HOW_CENSORED),
            source="Martin & Bateson, Measuring Behaviour.",
            unsaid=gettext("How soon he would be with another female, or on another evening."),
        )


def _first_ends(season: Season, name: str) -> pd.DataFrame | None:
    """Return the share that came to each end first, where something closed an evening before it came."""
    times = latency(season, name, competing=True)
    ends = times.attrs["ends"]
    if not ends:
        return None
    named = season.labels
    told = {"occurred": "it came", **{end: in_words(end, named) for end in ends}}
    shares = of_sexes(times.assign(end=times["ended_by"].astype(str).map(told)), "end")
    # What is asked for first, so that its line looks alike in every picture of the page.
    return shares[sorted(shares.columns, key=lambda name: name not in ("it came", "se_it came"))]


def _compared(season: Season, name: str, times: pd.DataFrame) -> tuple[Comparison, list[str]]:
    found = compare(times, "male")
    return found, list(_otherwise(season, name, times, found))


def _otherwise(season: Season, name: str, times: pd.DataFrame, found: Comparison) -> Iterator[str]:
    """Say what the p would be had what nobody saw, or the keeper's ending of it, been otherwise."""
    censored = latency(season, name, unseen="censor") if times.attrs["touched"] else None
    yield from sentences(sensitivity(times, found.by, found.within or "none", otherwise=censored, shown=found))


def _left_out(times: pd.DataFrame) -> Iterator[str]:
    about = times.attrs
    if about["without_since"]:
        yield ngettext(
            "{n} more session never came to where this time begins, and is not counted.",
            "{n} more sessions never came to where this time begins, and are not counted.",
            about["without_since"],
        )
    if about["without_interval"]:
        yield ngettext(
            "{n} session is of an ethogram without this latency, and left out.",
            "{n} sessions are of an ethogram without this latency, and left out.",
            about["without_interval"],
        )


def _by_male(found: Comparison, interval: str) -> Table:
    heads = {
        "male": gettext_noop("male"),
        "n": gettext_noop("sessions"),
        "occurred": gettext_noop("it came"),
        "median_s": gettext_noop("median, s"),
        "median_low_s": gettext_noop("from, s"),
        "median_high_s": gettext_noop("to, s"),
        "q25_s": gettext_noop("first quarter by, s"),
        "q75_s": gettext_noop("third quarter by, s"),
        "mean_s": gettext("mean within {horizon}, s", horizon=span(1000 * found.horizon_s)),
        "mean_se_s": gettext_noop("its standard error, s"),
        "females": gettext_noop("females met"),
        "why": gettext_noop("what is missing, and why"),
    }
    return table(
        found.table.reset_index(),
        gettext("By male. An empty cell: not reached in these sessions."),
        heads,
        rest=f"etholog latency {interval} --by male --more",
    )


def _each_two(found: Comparison, interval: str) -> Iterator[Table]:
    if not len(found.pairs):
        return
    heads = {
        "first": gettext_noop("first"),
        "second": gettext_noop("second"),
        "first_n": gettext_noop("sessions of the first"),
        "second_n": gettext_noop("of the second"),
        "p": gettext_noop("p"),
        "p_holm": gettext_noop("p after Holm"),
        "difference_s": gettext_noop("difference of means, s"),
        "first_sooner": gettext_noop("share in which the first was sooner"),
        "first_sooner_low": gettext_noop("from"),
        "first_sooner_high": gettext_noop("to"),
        "ordered_pairs": gettext_noop("pairs with an order"),
        "why": gettext_noop("what is missing, and why"),
    }
    told = gettext("Each two males: a permutation test, and what it means in seconds.")
    if found.within:
        told = gettext(
            "Each two males: a permutation test, and what it means in seconds; only sessions with one and the same"
            " {within} are compared.",
            within=gettext(found.within),
        )
    pairs = found.pairs.sort_values(["p_holm", "p"], kind="stable")
    yield table(pairs, told, heads, MOST_PAIRS, f"etholog latency {interval} --by male --more")
