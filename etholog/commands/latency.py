"""`etholog latency`: how long until a behaviour, unfinished sessions counted right, compared between groups."""

import argparse
import math
import sys
from typing import TYPE_CHECKING, Literal

from etholog.base.refusal import Refusal
from etholog.base.text import many
from etholog.commands import curve
from etholog.commands.output import (
    SESSIONS_TOO,
    add_folder,
    add_json,
    add_more,
    add_permutations,
    as_json,
    check_permutations,
    lead,
    limits,
    say,
    shares,
    table,
    tell,
)

if TYPE_CHECKING:
    import pandas as pd

    from etholog.analysis.compare import Comparison
    from etholog.analysis.hazard import Hazards
    from etholog.season import Season

SHOWN = 40  # sessions in a table on a terminal, the last ones: more scroll the answer away
MET_AT_MOST = 12  # males or females in a table of who met whom: a larger one is read by nobody


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("interval", nargs="?", help="a named interval of the ethogram, such as courtship")
    parser.add_argument("--since", action="append", metavar="CODE", help="instead: from this behaviour (or the start)")
    parser.add_argument("--to", action="append", metavar="CODE", help="to this one; insertion:left names one palp")
    parser.add_argument("--by", metavar="COLUMN", help="compare groups of these, such as male or species")
    parser.add_argument("--rows", action="store_true", help="each session, also where groups are compared")
    parser.add_argument(
        "--within", metavar="COLUMN", help="compare only within each of these; none: all together (default: chosen)"
    )
    parser.add_argument("--first", type=float, metavar="MIN", help="means within the first so many minutes")
    parser.add_argument("--unseen", choices=("keep", "censor"), default="keep", help="time in gaps and out of sight")
    parser.add_argument("--competing", action="store_true", help="tell what closed an evening before it came")
    parser.add_argument("--ends", action="append", metavar="CODE", help="end the time at this behaviour, if first")
    parser.add_argument("--cluster", metavar="COLUMN", help="sessions of one of these belong together (default: male)")
    parser.add_argument("--cox", nargs="*", metavar="COLUMN", help="Cox's model of these columns (default: --by)")
    parser.add_argument("--spans", action="store_true", help="onsets that nobody saw, as spans of time (Turnbull)")
    add_permutations(parser)
    add_folder(parser, SESSIONS_TOO)
    parser.add_argument("--engine", choices=("duckdb",), help="of what `export DIR --by-month` wrote: in little memory")
    add_more(parser)
    add_json(parser)
    parser.epilog = (
        "examples:\n  etholog latency courtship --by male --within female --first 15\n"
        "  etholog latency clasp --by species --competing --cox species temperature_c\n"
        "  etholog latency courtship --within pair_session --cox male_session"
    )


def run(args: argparse.Namespace) -> int:
    """Print each session's latency, or the groups of `--by`; 1 where a file could not be read."""
    grouped = not args.rows and (args.by is not None or args.within is not None or args.cox is not None)
    _check(args, grouped)
    from etholog import season

    read = _read_by_engine(args) if args.engine else season.read(args.folder)
    if args.interval is None and not args.since and not args.to and read.ethograms:
        args.interval = next((i.name for kept in read.ethograms.values() for i in kept.interval), None)
    times = _times(args, read, args.unseen)
    if args.spans:
        from etholog.commands.spans import spans_of

        return spans_of(read, times, args)
    if args.json or grouped:
        _by_group(args, read, times)
    else:
        _by_session(args, times)
    say(*read.findings)
    return 1 if read.findings else 0


def _check(args: argparse.Namespace, grouped: bool) -> None:
    """Refuse what can't be meant together."""
    check_permutations(args)
    if args.first is not None and not args.first > 0:
        raise Refusal(f"--first {args.first:g}: give a time over 0, in minutes")
    for option, said in (("--first", args.first), ("--cluster", args.cluster)):
        if said is not None and not (grouped or args.json):
            raise Refusal(f"{option} is about groups of sessions: add --by male, or another column, and no --rows")
    if args.spans and (args.rows or grouped):
        raise Refusal("--spans is of all sessions together: leave out --by, --within, --cox and --rows")
    if args.spans and args.engine:
        raise Refusal("--spans needs every bout, and an engine picks few: leave out one of the two")


def _times(args: argparse.Namespace, read: "Season", unseen: Literal["keep", "censor"]) -> "pd.DataFrame":
    """Return the latencies that are asked for; `unseen`: what becomes of time in gaps and out of sight."""
    from etholog.analysis.latency import latency

    asked = {"since": args.since, "to": args.to, "competing": args.competing, "ends": args.ends}
    return latency(read, args.interval, unseen=unseen, **asked)


def _by_session(args: argparse.Namespace, times: "pd.DataFrame") -> None:
    from etholog.analysis.compare import check_columns
    from etholog.analysis.sentences import latency as sentences

    check_columns(times, args.by or "male", args.within, args.cluster)
    lead(sentences.of_sessions(times))
    shown = times
    if sys.stdout.isatty():
        shown = _whole(times) if args.more else _rows(times).tail(SHOWN)
    table(shown)
    if sys.stdout.isatty():
        _left_out(times)
        cut = len(times) > len(shown)
        tell(
            *([f"The last {SHOWN} of {len(times)} sessions."] if cut else []),
            f"To compare groups: --by male. {'All, and everything' if cut else 'Everything'} that is known of each"
            " session: --more.",
        )


def _by_group(args: argparse.Namespace, read: "Season", times: "pd.DataFrame") -> None:
    from etholog.analysis.compare import compare
    from etholog.analysis.sentences import latency as sentences

    first = None if args.first is None else 60 * args.first
    found = compare(times, args.by or "male", args.within, args.permutations, args.seed, args.cluster, first)
    plain = sentences.of_groups(found, times.attrs["label"])
    if args.json:
        _in_full(args, read, times, found, plain)
        return
    lead(plain)
    if not sys.stdout.isatty():
        table(found.table.reset_index())
    elif args.more or _asked_for_more(args):
        _in_full(args, read, times, found, plain)
    else:
        _short(times, found)
        _left_out(times)


def _in_full(
    args: argparse.Namespace, read: "Season", times: "pd.DataFrame", found: "Comparison", plain: list[str]
) -> None:
    """Print all that can be said of groups, as asked for."""
    from etholog.analysis.sensitivity import sensitivity
    from etholog.commands.spans import offered

    otherwise = None
    if times.attrs["touched"]:
        otherwise = _times(args, read, "censor" if args.unseen == "keep" else "keep")
    within, how = found.within or "none", (args.permutations, args.seed, args.cluster)
    cases = sensitivity(times, found.by, within, *how, otherwise, found)
    came, cox, change, apart = None, None, None, None
    if args.competing or args.ends:
        from etholog.analysis.incidence import first_ends
        from etholog.analysis.rivals import rivals

        came = first_ends(times, found.by)
        apart = rivals(times, found.by, within, seed=args.seed)
    if args.cox is not None:
        from etholog.analysis.hazard import hazards
        from etholog.analysis.proportional import proportional

        strata = None if args.within == "none" else args.within
        cox = hazards(times, args.cox or found.by, strata, args.cluster)
        change = proportional(times, args.cox or found.by, strata)
    if args.json:
        every = _everything(times, found, cases, came, cox, change) | {"plain": plain}
        print(as_json(every if apart is None else every | {"rivals": apart}))
        return
    show(times, found, cases, came, cox, change)
    if not args.engine and (more := offered(read, times)):
        print(more)
    if apart is not None:
        print("\nDo groups differ in what comes? Gray's test: how many come to it; log-rank: how fast.")
        table(_apart(apart))


def _read_by_engine(args: argparse.Namespace) -> "Season":
    """Return the season with those bouts alone that decide what is asked."""
    from etholog import engine

    if args.interval is None and not args.since and not args.to:
        raise Refusal("--engine needs to know which latency: name an interval, or --to a behaviour")
    return engine.deciding(args.folder, args.interval, since=args.since, to=args.to, ends=args.ends)


def _asked_for_more(args: argparse.Namespace) -> bool:
    """Tell whether an option asks for what only the full tables hold."""
    return bool(args.competing or args.ends or args.cox is not None)


def _rows(times: "pd.DataFrame") -> "pd.DataFrame":
    """Return each session's latency, as a keeper reads it."""
    rows = times[["session", "male", "female"]].astype(str)
    rows["time, s"] = times["latency_s"].to_numpy()
    rows["it came"] = ["yes" if came else "no, watched so long" for came in times["occurred"]]
    if times.attrs["ends"] or times.attrs["competing"]:  # what else may end the time was asked for
        rows["ended by"] = [
            "-" if came else end for came, end in zip(times["occurred"], times["ended_by"].astype(str), strict=True)
        ]
    return rows.drop(columns=["male", "female"]) if _named_by_pair(rows) else rows


def _whole(times: "pd.DataFrame") -> "pd.DataFrame":
    """Return all that is known of each session; it began by the clock of its place."""
    from etholog.season import began_there

    return times.assign(began=began_there(times).dt.strftime("%Y-%m-%d %H:%M")).drop(columns="utc_offset_min")


def _named_by_pair(rows: "pd.DataFrame") -> bool:
    """Tell whether each session's name says whose it is."""
    return all(row["male"] in row["session"] and row["female"] in row["session"] for row in rows.to_dict("records"))


def _short(times: "pd.DataFrame", found: "Comparison") -> None:
    groups = found.table
    if not len(groups):
        return
    rows = groups[["n", "occurred"]].reset_index().rename(columns={"n": "sessions", "occurred": "it came in"})
    rows["half within, s"] = [_reached(value) for value in groups["median_s"]]
    ends = zip(groups["median_low_s"], groups["median_high_s"], groups["why"], strict=True)
    rows["95 % limits, s"] = [limits(low, high, "-" if why else "not reached") for low, high, why in ends]
    table(rows)
    curve.show(times, found.by)
    tell("What each number rests on, each two beside each other, and what may be otherwise: --more.")


def show(
    times: "pd.DataFrame",
    found: "Comparison",
    cases: "pd.DataFrame",
    ended: "pd.DataFrame | None",
    cox: "Hazards | None",
    change: "pd.DataFrame | None" = None,
) -> None:
    """Print a comparison for people."""
    from etholog.analysis.sensitivity import sentences
    from etholog.session.summary import span

    about = times.attrs
    print()
    tell(f"Latency {about['label']}, in seconds")
    if len(found.table):
        _lettered(_groups(found), found.table["why"])
        curve.show(times, found.by)
        chosen = "" if found.horizon_named else ", the longest time to which every curve is known"
        test = f" Log-rank chi-squared {found.statistic:.2f}, df {found.df}: a description." if found.df else ""
        mean = f"Mean: within the first {span(1000 * found.horizon_s)}{chosen}."
        median = "Limits of medians: 95 %, log-log. " if found.table["q25_low_s"].notna().any() else ""
        if found.clusters != "session":
            median = f"Median: of a session of a {found.clusters} taken at random. "
        tell(f"{median}{mean}{test}")
    tell(found.sentence)
    if found.met is not None:
        _met(found.met)
    _left_out(times)
    for line in sentences(cases):
        tell(line)
    if len(found.pairs) and found.df:
        print(f"\nEach two, within one {found.within}:" if found.within else "\nEach two:")
        _lettered(_pairs(found), found.pairs["why"])
        tell(_about_pairs(found))
    if ended is not None and len(ended):
        print(f"\nWhat came first, by {span(1000 * ended['at_s'].iloc[0])} (Aalen-Johansen):")
        table(_first_ends(ended))
        tell(_about_ends(times))
    if cox is not None:
        print()
        if cox.table["coef"].notna().any():
            told = cox.table.reset_index()[["term", "ratio"]]
            told["95 % limits"] = [
                limits(*pair, "not known") for pair in zip(cox.table["low"], cox.table["high"], strict=True)
            ]
            told["p"] = cox.table["p"].to_numpy()
            table(told)
        tell(cox.sentence)
        if change is not None and change.notna().any(axis=None):
            print("\nDoes the ratio stay the same? Up to the median time of the events, and after it:")
            table(change.reset_index().rename(columns={"chi_squared": "chi-squared"}))
            tell("Ratios far apart: the model does not hold. Chi-squared, 1 df each: a description (no p holds).")


def _left_out(times: "pd.DataFrame") -> None:
    about = times.attrs
    if about["without_since"]:
        tell(f"{many(about['without_since'], 'more session')} never came to where this latency begins.")
    if about["without_interval"]:
        tell(f"{many(about['without_interval'], 'session')} of an ethogram without this latency: left out.")


def _lettered(rows: "pd.DataFrame", why: "pd.Series") -> None:
    """Print a table whose last column has a letter for what is missing in the row, and under it what each means."""
    letters = {reason: chr(97 + at % 26) * (1 + at // 26) for at, reason in enumerate(dict.fromkeys(filter(None, why)))}
    if letters:
        rows = rows.assign(**{"": [letters.get(reason, "") for reason in why]})
    table(rows)
    for reason, letter in letters.items():
        tell(f"{letter}: {reason}")
    if letters:
        print()


def _met(often: "pd.DataFrame") -> None:
    if max(often.shape) > MET_AT_MOST:
        males, females = often.shape
        tell(f"{males} males and {females} females; {int((often > 0).sum().sum())} different pairs met.")
        return
    print("\nHow often they met:")
    table(often.reset_index().rename_axis(columns=None))


def _about_pairs(found: "Comparison") -> str:
    pairs = found.pairs
    said = ["Difference: of the means. First sooner: of the pairs of sessions whose order is known."]
    if pairs["times_as_fast_low"].notna().any():
        said.append("Times as fast: every factor that the test does not reject.")
    if found.within:
        one = f"one {found.within}"
        said.append(f"Compared: sessions with a {found.within} that both have, and only within {one}.")
        if found.clusters == "session" and pairs["p"].isna().all():
            said.append(f"--within none compares them all, and assumes that each {found.within} was met at random.")
    if found.clusters != "session":
        said.append(f"No limits: a group has several sessions of one {found.clusters}, and none are known to hold.")
    elif not found.horizon_named:
        said.append("The difference has limits only where its time is chosen before: --first MIN.")
    return " ".join(said)


def _about_ends(times: "pd.DataFrame") -> str:
    about = times.attrs
    if about["followed"] is not None:
        codes = " or ".join(about["ends"])
        some = int(times["ended_by"].isin(about["ends"]).sum())
        return f"In {about['followed']} of the {some} sessions that end here at {codes} it came all the same, later."
    if not about["ends"]:
        return "No session was closed for good before it came."
    return "The test above compares how fast it comes where nothing has ended the time yet."


def _reached(value: float) -> str:
    return "not reached" if value != value else f"{value:,.1f}"


def _groups(found: "Comparison") -> "pd.DataFrame":
    groups = found.table
    pretty = groups[["n", "occurred"]].reset_index().rename(columns={"n": "sessions", "occurred": "it came in"})
    pretty["median, s"] = [_reached(value) for value in groups["median_s"]]
    none = ["-" if why.startswith("no limits") else "not reached" for why in groups["why"]]
    ends = zip(groups["median_low_s"], groups["median_high_s"], none, strict=True)
    pretty["limits, s"] = [limits(*three) for three in ends]
    if found.clusters == "session":
        pretty["quartiles, s"] = [limits(*pair) for pair in zip(groups["q25_s"], groups["q75_s"], strict=True)]
    pretty["mean, s"] = groups["mean_s"].to_numpy()
    if groups["mean_se_s"].notna().any():
        pretty["its error, s"] = groups["mean_se_s"].to_numpy()
    for animals in ("females", "males"):
        if animals in groups.columns:
            pretty[animals] = groups[animals].to_numpy()
    return pretty


def _pairs(found: "Comparison") -> "pd.DataFrame":
    pairs = found.pairs
    told = pairs[["first", "second"]].copy()
    told["sessions"] = [f"{a} v {b}" for a, b in zip(pairs["first_n"], pairs["second_n"], strict=True)]
    if pairs["p"].notna().any():
        told["p"], told["p after Holm"] = pairs["p"], pairs["p_holm"]
    told["difference, s"] = pairs["difference_s"]
    if pairs["difference_low_s"].notna().any():
        ends = zip(pairs["difference_low_s"], pairs["difference_high_s"], strict=True)
        told["limits, s"] = [limits(low, high, "-") for low, high in ends]
    sooner = zip(pairs["first_sooner"], pairs["first_sooner_low"], pairs["first_sooner_high"], strict=True)
    told["first sooner"] = [shares(*three) for three in sooner]
    told["of pairs"] = [
        "-" if count != count else f"{count:.0f} of {count + more:.0f}"
        for count, more in zip(pairs["ordered_pairs"], pairs["unordered_pairs"], strict=True)
    ]
    if pairs["times_as_fast_low"].notna().any():
        ends = zip(pairs["times_as_fast_low"], pairs["times_as_fast_high"], strict=True)
        told["times as fast"] = [_factors(low, high) for low, high in ends]
    return told


def _factors(low: float, high: float) -> str:
    """Return a set of factors in words; one that is open on a side says so."""
    if low != low:
        return "-"
    least, most = (f"{one:.2g}" if one < 100 else f"{one:,.0f}" for one in (low, high))
    if low == 0:
        return "any" if math.isinf(high) else f"{most} or less"
    return f"{least} or more" if math.isinf(high) else f"{least} to {most}"


def _first_ends(ended: "pd.DataFrame") -> "pd.DataFrame":
    told = ended.drop(columns=["share", "se", "low", "high", "at_s"])
    told["end"] = ["it came" if end == "occurred" else end for end in ended["end"]]
    told["share"] = [shares(*three) for three in zip(ended["share"], ended["low"], ended["high"], strict=True)]
    return told


def _apart(rows: "pd.DataFrame") -> "pd.DataFrame":
    heads = {"gray": "Gray", "gray_p": "its p", "log_rank": "log-rank", "log_rank_p": "p of it"}
    return rows.assign(end=["it came" if end == "occurred" else end for end in rows["end"]]).rename(columns=heads)


def _everything(
    times: "pd.DataFrame",
    found: "Comparison",
    cases: "pd.DataFrame",
    ended: "pd.DataFrame | None",
    cox: "Hazards | None",
    change: "pd.DataFrame | None",
) -> dict[str, object]:
    told: dict[str, object] = {
        **{str(name): value for name, value in times.attrs.items()},
        "by": found.by,
        "within": found.within,
        "groups": found.table.reset_index(),
        "horizon_s": found.horizon_s,
        "horizon_named": found.horizon_named,
        "statistic": found.statistic,
        "df": found.df,
        "permutation_p": found.permutation_p,
        "permutations": found.permutations,
        "exact": found.exact,
        "smallest_p": found.smallest_p,
        "permutation_error": found.permutation_error,
        "pairs": found.pairs,
        "clusters": found.clusters,
        "sentence": found.sentence,
        "otherwise": cases,
    }
    if found.met is not None:
        told["met"] = found.met.reset_index()
    if ended is not None:
        told["ended"] = ended
    if cox is not None:
        told["cox"] = {
            "terms": cox.table.reset_index(),
            "log_likelihood": cox.log_likelihood,
            "events": cox.events,
            "cluster": cox.cluster,
            "clusters": cox.clusters,
            "sentence": cox.sentence,
        }
    if change is not None:
        told["proportional"] = change.reset_index()
    return {**told, "sessions": times}
