"""The questions of the job, each with its answer, figures, tables, method, source, and what these data can't say."""

from collections.abc import Iterator

import pandas as pd

from etholog import figures
from etholog.analysis.compare import Comparison, compare
from etholog.analysis.duration import duration
from etholog.analysis.incidence import incidence
from etholog.analysis.latency import latency
from etholog.analysis.transition import Transitions, transition
from etholog.ethogram import Interval
from etholog.figures.flow import standing_out
from etholog.figures.style import label
from etholog.report.content import Picture, Section, Table, table
from etholog.report.svg import Drawings
from etholog.season import Season
from etholog.summary import span

CENSORED = (
    "A session that ended without it is neither dropped nor called zero: its time counts as censored where the"
    " watching ended (Martin & Bateson, Measuring Behaviour)."
)


def sections(season: Season, drawings: Drawings) -> Iterator[Section]:
    """Yield what can be asked of these sessions; a question that they hold nothing on is left out."""
    if len(season.sessions) > 1:
        yield from _latencies(season, drawings)
    else:
        yield from _soon(season)
    for ask in (_palps, _budget, _transitions):
        yield from ask(season, drawings)
    yield _watched(season)


def _intervals(season: Season) -> dict[str, Interval]:
    return {interval.name: interval for kept in season.ethograms.values() for interval in kept.interval}


def _latencies(season: Season, drawings: Drawings) -> Iterator[Section]:
    for place, (name, interval) in enumerate(_intervals(season).items()):
        times = latency(season, name)
        if not len(times):
            continue
        found = compare(times, "male")
        question = f"How long {interval.label}?"
        pictures = [_picture(drawings, figures.survival(times, by="male"), SURVIVAL, question)]
        first = _first_ends(season, interval)
        if first is not None:
            pictures.append(_picture(drawings, figures.ends(first), ENDS, f"{question} Or what came first."))
        if not place:  # once: for the others the sessions are the same
            pictures.append(_picture(drawings, figures.aligned(season, times), ALIGNED, f"{question} Every session."))
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


def _first_ends(season: Season, interval: Interval) -> pd.DataFrame | None:
    """Return the share that came to each end first, where one came after which the behaviour no longer could."""
    if not interval.ends:
        return None
    times = latency(season, interval.name, competing=True)
    end = times["ended_by"].astype(str)
    named = figures.names(season)
    told = {"occurred": "it came", **{code: label(code, named) for code in interval.ends}}
    if not end.isin(interval.ends).any():
        return None
    return incidence(times.assign(end=end.map(told)), "end")


ENDS = (
    "What came first, by Aalen and Johansen: it, or one of the ends after which it no longer could. The curves above"
    " take the sessions that ended so as if it might still have come."
)
SURVIVAL = (
    "How the share of sessions still without it falls with time. Bands: 95 % limits. Upright ticks: sessions that"
    " ended without it. Beneath the clock: sessions still at risk. Grey: the other males."
)
ALIGNED = (
    "Every session, the quickest at the top: what she does above, he beneath, both between. Full dot: it came."
    " Ring: the watching ended without it."
)


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


def _soon(season: Season) -> Iterator[Section]:
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


def _palps(season: Season, drawings: Drawings) -> Iterator[Section]:
    bouts = season.bouts[(season.bouts["behaviour"] == "insertion").to_numpy()]
    if not len(bouts):
        return
    side = bouts["qualifier"].astype(object).fillna("side unknown")
    told = [
        f"{name}: {len(own)} {'insertion' if len(own) == 1 else 'insertions'}, {span(1000 * own['duration_s'].sum())}"
        for name, own in sorted(bouts.groupby(side), key=lambda item: str(item[0]))
    ]
    rows = bouts.groupby(["session", "male", "female"], observed=True)
    frame = rows.size().rename("insertions").reset_index()
    for name in ("left", "right"):
        own = bouts[side == name].groupby("session", observed=True)["duration_s"].agg(["size", "sum"])
        keyed = own.reindex(frame["session"]).reset_index(drop=True)
        frame[f"{name}_n"], frame[f"{name}_s"] = keyed["size"].fillna(0).astype(int), keyed["sum"].fillna(0.0)
    frame["session"] = frame["session"].astype(str)
    heads = {
        "male": "male", "female": "female", "left_n": "left, number", "left_s": "left, s", "right_n": "right, number",
        "right_s": "right, s", "session": "session",
    }  # fmt: skip
    question = "Which palp, how often and for how long?"
    yield Section(
        "palps",
        question,
        "; ".join(told)[:1].upper() + "; ".join(told)[1:] + ".",
        [_picture(drawings, figures.palps(season), PALPS, question)],
        [table(frame, "Insertions by session.", heads)],
        "Sums of the recorded bouts, unsure ones included.",
        "Altmann 1974, continuous recording.",
        [f"{int((~bouts['whole']).sum())} were cut short by the end of the watching or a gap."]
        if not bouts["whole"].all()
        else [],
        "Whether sperm was transferred: an insertion that was seen is evidence, a sac is better, what hatches is best.",
    )


PALPS = "Insertions from the first one on, his left palp above the line and his right below. Hollow: unsure."


def _budget(season: Season, drawings: Drawings) -> Iterator[Section]:
    many = len(season.sessions) > 1
    durations = duration(season)
    states = durations[durations["kind"] == "state"]
    if not len(states):
        return
    named = figures.names(season)
    longest = states.sort_values("share", ascending=False).head(3)
    told = ", ".join(f"{label(row['behaviour'], named)} {row['share']:.0%}" for row in longest.to_dict("records"))
    watched = span(1000 * float(season.sessions["watched_s"].sum()))
    by = duration(season, by="male") if many else durations
    shown = by.assign(label=[label(code, named) for code in by["behaviour"]])
    heads = {"male": "male"} if many else {}
    heads |= {
        "label": "behaviour", "actor": "actor", "qualifier": "qualifier", "sessions": "sessions", "count": "number",
        "cut": "cut short", "total_s": "in all, s", "share": "share of time", "median_s": "median of one, s",
        "per_hour": "per hour", "per_hour_low": "from", "per_hour_high": "to",
    }  # fmt: skip
    question = "What did the time go to?"
    picture = figures.budget(by, by="male" if many else None, named=named)
    yield Section(
        "budget",
        question,
        f"Of {watched} watched: {told}.",
        [_picture(drawings, picture, BUDGET, question)],
        [table(shown, "Durations and rates" + (", by male." if many else "."), heads)],
        "Shares of the time watched, gaps left out. Medians count bouts that were cut short as censored. Rates per"
        " hour in which the animal was watched and in sight, with exact Poisson limits.",
        "Altmann 1974; Kaplan & Meier 1958; Garwood 1936.",
        ["Behaviours of different animals run at once, so the shares need not add up to 100 %."],
        "What they did where nobody could see them.",
    )


BUDGET = "Percent of the time watched in each state. Orange, hatched: she; blue: he; green, crossed: both."


def _transitions(season: Season, drawings: Drawings) -> Iterator[Section]:
    found = transition(season)
    long = found.long()
    if not len(long):
        return
    named = figures.names(season)
    question = "What follows what?"
    pictures = [_picture(drawings, figures.transitions(found, named), HEAT, question)]
    if len(standing_out(found)) >= FEWEST_ARROWS:
        drawn = figures.flow(found, duration(season), named)
        pictures.insert(0, _picture(drawings, drawn, FLOW, f"{question} As a diagram."))
    shown = long.assign(**{name: [label(code, named) for code in long[name]] for name in ("first", "next")})
    heads = {
        "first": "first", "next": "next", "count": "number", "probability": "share of what follows",
        "expected": "expected by chance", "residual": "adjusted residual", "p_holm": "p after Holm",
    }  # fmt: skip
    yield Section(
        "transitions",
        question,
        _transition_answer(found, shown),
        pictures,
        [table(shown, "Every transition that was seen.", heads)],
        "Onset to next onset within a session; sequences break at gaps and where an animal goes out of sight; a"
        " behaviour does not follow itself. Expected counts by quasi-independence.",
        "Goodman 1968; Haberman 1973; Bakeman & Quera 2011; Holm 1979.",
        [found.sentence],
        "That the one causes the other.",
    )


FEWEST_ARROWS = 3  # the table says as much as a diagram of fewer
FLOW = (
    "Transitions that stand out. Circles: the larger, the more of the time. Arrows: the thicker, the more often the"
    " one is followed by the other; the number is that share. Solid: holds after Holm's correction; dashed: a hint."
)
HEAT = (
    "First behaviours down, next ones across, numbers counted. Orange: more often than chance, purple: more seldom."
    " Bold: a positive residual. A star: p < 0.05 after Holm with an expected count of 5 or more. Hatched: can't be."
)


def _transition_answer(found: Transitions, long: pd.DataFrame) -> str:
    often = long[long["count"] >= 3].sort_values(["few", "residual"], ascending=[True, False]).head(3)
    if not len(often):
        return f"Of {len(long)} kinds of transition none came three times or more."
    told = [
        f"{row['next']} after {row['first']} ({int(row['count'])} times, {row['probability']:.0%} of what followed)"
        for row in often.to_dict("records")
    ]
    return f"What stands out most: {'; '.join(told)}."


def _watched(season: Season) -> Section:
    rows = season.sessions
    unsure = season.bouts[~season.bouts["confident"]].groupby("session", observed=False).size()
    frame = rows.assign(
        session=rows["session"].astype(str),
        began=rows["began"] + pd.to_timedelta(rows["utc_offset_min"], unit="min"),
        unwatched_s=rows["length_s"] - rows["watched_s"],
        unsure=unsure.reindex(rows["session"]).fillna(0).astype(int).to_numpy(),
    )
    heads = {
        "began": "began", "male": "male", "female": "female", "species": "species", "observer": "observer",
        "length_s": "length, s", "unwatched_s": "not watched, s", "out_of_sight_s": "out of sight, s",
        "marks": "marks", "unsure": "unsure", "closed": "ended in order",
    }  # fmt: skip
    lost = float(frame["unwatched_s"].sum())
    one = len(rows) == 1
    said = (
        f"{'One session' if one else f'{len(rows)} sessions'}, {span(1000 * float(rows['length_s'].sum()))} in all,"
        f" {span(1000 * lost) if lost else 'none'} of it not watched; an animal was out of sight for"
        f" {span(1000 * float(rows['out_of_sight_s'].sum()))}; {int(rows['marks'].sum()):,} marks."
    )
    return Section(
        "watching",
        "How well was it watched?",
        said,
        tables=[table(frame, "The session." if one else "Every session.", heads)],
        method="Counted from the records; gaps are the times that the observer said nobody was watching.",
        source="Altmann 1974.",
        unsaid="What a second observer would have marked, unless one did (etholog agree).",
    )


def _picture(drawings: Drawings, figure: figures.Plate, caption: str, title: str) -> Picture:
    return Picture(drawings.add(figure, title), caption)
