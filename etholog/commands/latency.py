"""`etholog latency`: how long until a behaviour, unfinished sessions counted right, compared between groups."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.base.refusal import Refusal
from etholog.commands import curve
from etholog.commands.output import add_json, as_json, limits, p_value, paragraph, say, shares, table

if TYPE_CHECKING:
    import pandas as pd

    from etholog.analysis.compare import Comparison
    from etholog.analysis.hazard import Hazards


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("interval", nargs="?", help="a named interval of the ethogram, such as courtship")
    parser.add_argument("--since", action="append", metavar="CODE", help="instead: from this behaviour (or the start)")
    parser.add_argument("--to", action="append", metavar="CODE", help="to this one; insertion:left names one palp")
    parser.add_argument("--by", default="male", metavar="COLUMN", help="compare by this (default: male)")
    parser.add_argument("--within", metavar="COLUMN", help="compare only within each of these, e.g. female")
    parser.add_argument("--unseen", choices=("keep", "censor"), default="keep", help="time in gaps and out of sight")
    parser.add_argument("--competing", action="store_true", help="end at what makes the behaviour impossible")
    parser.add_argument("--ends", action="append", metavar="CODE", help="the same, at this behaviour")
    parser.add_argument("--cluster", metavar="COLUMN", help="draw and count these whole (default: male, if not --by)")
    parser.add_argument("--cox", nargs="*", metavar="COLUMN", help="Cox's model of these columns (default: --by)")
    parser.add_argument("--permutations", type=int, default=10_000, metavar="N", help="shuffles, where not exact")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--folder", type=Path, default=Path(), help="workspace or folder of sessions (default: here)")
    add_json(parser)
    parser.epilog = (
        "examples:\n  etholog latency courtship --by male --within female\n"
        "  etholog latency clasp --by species --competing --cox species temperature_c"
    )


def run(args: argparse.Namespace) -> int:
    """Print the comparison, or each session's latency in a pipe; 1 where a file could not be read."""
    if args.permutations < 1:
        raise Refusal(f"--permutations {args.permutations}: must be 1 or more")
    from etholog import season
    from etholog.analysis.compare import compare
    from etholog.analysis.latency import latency

    read = season.read(args.folder)
    if args.interval is None and not args.since and not args.to and read.ethograms:
        args.interval = next((i.name for kept in read.ethograms.values() for i in kept.interval), None)
    times = latency(
        read, args.interval, since=args.since, to=args.to, unseen=args.unseen, competing=args.competing, ends=args.ends
    )
    found = compare(times, args.by, args.within, args.permutations, args.seed, args.cluster)
    came, cox = None, None
    if args.competing or args.ends:
        from etholog.analysis.incidence import ended

        came = ended(times, args.by)
    if args.cox is not None:
        from etholog.analysis.hazard import hazards

        cox = hazards(times, args.cox or args.by, args.within, args.cluster)
    if args.json:
        print(as_json(_everything(times, found, came, cox)))
    elif sys.stdout.isatty():
        show(times, found, came, cox)
    else:
        table(times)
    say(*read.findings)
    return 1 if read.findings else 0


def show(times: "pd.DataFrame", found: "Comparison", ended: "pd.DataFrame | None", cox: "Hazards | None") -> None:
    """Print a comparison for people."""
    about = times.attrs
    print()
    paragraph(f"Latency {about['label']}, in seconds")
    if len(found.table):
        table(_groups(found))
        curve.show(times, found.by)
        mean = f"Means are restricted to {found.horizon_s:,.0f} s, the shortest of the groups' longest times."
        test = f" Log-rank chi-squared {found.statistic:.2f}, df {found.df}, {p_value(found.p)}." if found.df else ""
        paragraph("Limits of 95 %, log-log. " + mean + test)
    paragraph(found.sentence)
    if about["without_since"]:
        more = about["without_since"]
        print(f"{more} more session{'' if more == 1 else 's'} never came to where this latency begins.")
    if about["without_interval"]:
        left = about["without_interval"]
        print(f"{left} session{'' if left == 1 else 's'} of an ethogram without this latency: left out.")
    if about["touched"]:
        policy = "kept at risk" if about["unseen"] == "keep" else "censored there"
        some = about["touched"]
        print(f"{some} session{'' if some == 1 else 's'} had a gap or an animal out of sight in it: {policy}.")
    if len(found.pairs) and found.df:
        print("\nEach two:")
        table(_pairs(found))
        if found.within and found.pairs["p"].isna().any():
            print(f"No p: these two were never at risk within one {found.within}.")
        how = "sessions" if found.clusters == "session" else f"whole {found.clusters}s"
        which = "Its limits" if found.clusters == "session" else "Its limits and the difference's"
        paragraph(
            f"first sooner: of the pairs of sessions that can be ordered. {which}: drawing {how} again and again."
        )
    if ended is not None and len(ended):
        print(f"\nWhat came first, by {ended['at_s'].iloc[0]:,.0f} s (Aalen-Johansen):")
        table(_ended(ended, about["label"]))
        paragraph("The log-rank test above compares how fast it comes to those who are still in the running.")
    if cox is not None:
        print()
        if cox.table["coef"].notna().any():
            told = cox.table.reset_index()[["term", "ratio"]]
            told["95 % limits"] = [
                limits(*pair, "not known") for pair in zip(cox.table["low"], cox.table["high"], strict=True)
            ]
            told["p"] = cox.table["p"].to_numpy()
            table(told)
        paragraph(cox.sentence)


def _reached(value: float) -> str:
    return "not reached" if value != value else f"{value:,.1f}"


def _groups(found: "Comparison") -> "pd.DataFrame":
    groups = found.table
    pretty = groups[["n", "occurred"]].reset_index()
    pretty["median"] = [_reached(value) for value in groups["median_s"]]
    pretty["limits"] = [limits(*pair) for pair in zip(groups["median_low_s"], groups["median_high_s"], strict=True)]
    pretty["quartiles"] = [limits(*pair) for pair in zip(groups["q25_s"], groups["q75_s"], strict=True)]
    pretty["mean"], pretty["se"] = groups["mean_s"].to_numpy(), groups["mean_se_s"].to_numpy()
    for animals in ("females", "males"):
        if animals in groups.columns:
            pretty[animals] = groups[animals].to_numpy()
    return pretty


def _pairs(found: "Comparison") -> "pd.DataFrame":
    pairs = found.pairs
    told = pairs[["first", "second", "p", "p_holm"]].copy()
    told["difference"] = pairs["difference_s"]
    kind = "" if found.clusters == "session" else "_resampled"
    ends = zip(pairs[f"difference{kind}_low_s"], pairs[f"difference{kind}_high_s"], strict=True)
    told["limits"] = [limits(low, high, "not known") for low, high in ends]
    sooner = zip(pairs["first_sooner"], pairs["first_sooner_low"], pairs["first_sooner_high"], strict=True)
    told["first sooner"] = [shares(*three) for three in sooner]
    return told


def _ended(ended: "pd.DataFrame", label: str) -> "pd.DataFrame":
    told = ended.drop(columns=["share", "se", "low", "high", "at_s"])
    told["end"] = ["it came" if end == "occurred" else end for end in ended["end"]]
    told["share"] = [shares(*three) for three in zip(ended["share"], ended["low"], ended["high"], strict=True)]
    return told


def _everything(
    times: "pd.DataFrame", found: "Comparison", ended: "pd.DataFrame | None", cox: "Hazards | None"
) -> dict[str, object]:
    told: dict[str, object] = {
        **{str(name): value for name, value in times.attrs.items()},
        "by": found.by,
        "within": found.within,
        "groups": found.table.reset_index(),
        "horizon_s": found.horizon_s,
        "statistic": found.statistic,
        "df": found.df,
        "p": found.p,
        "permutation_p": found.permutation_p,
        "permutations": found.permutations,
        "exact": found.exact,
        "smallest_p": found.smallest_p,
        "permutation_error": found.permutation_error,
        "pairs": found.pairs,
        "clusters": found.clusters,
        "sentence": found.sentence,
    }
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
    return {**told, "sessions": times}
