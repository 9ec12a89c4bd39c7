"""`etholog transition`: what follows what, and what follows more often than chance."""

import argparse
import sys
from typing import TYPE_CHECKING, Any

from etholog.base.refusal import Refusal
from etholog.base.text import in_words
from etholog.commands.output import (
    SESSIONS_TOO,
    SHUFFLES,
    add_folder,
    add_json,
    add_more,
    as_json,
    lead,
    p_value,
    say,
    table,
    tell,
)
from etholog.ethogram import ACTORS

if TYPE_CHECKING:
    import pandas as pd

    from etholog.analysis.chain import ChainTest
    from etholog.analysis.transition import Transitions
    from etholog.season import Season

SHOWN = 20
SHORT = 10
QUESTIONS = {"order": "Does what came before the first matter too?", "homogeneity": "Do they differ by {by}?"}


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("--actor", choices=ACTORS, help="only what this one does")
    parser.add_argument("--answer", choices=ACTORS, help="what this one begins after each onset of --actor")
    parser.add_argument("--within", type=float, metavar="S", help="... within so many seconds")
    parser.add_argument("--lag", type=int, default=1, metavar="N", help="what comes N behaviours later (default: 1)")
    parser.add_argument("--repeats", action="store_true", help="count a behaviour that follows itself")
    parser.add_argument("--longest-pause", type=float, metavar="S", help="a pause this long breaks the chain")
    parser.add_argument("--each", metavar="COLUMN", help="a table for each of these: male, or session")
    parser.add_argument("--by", default="male", metavar="COLUMN", help="test whether these differ (default: male)")
    parser.add_argument("--shuffles", type=int, default=0, metavar="N", help="p by shuffles within sessions")
    parser.add_argument("--follows", nargs=2, metavar=("FIRST", "NEXT"), help="only this one, planned beforehand")
    parser.add_argument("--seed", type=int, default=0)
    add_folder(parser, SESSIONS_TOO)
    add_more(parser)
    add_json(parser)
    parser.epilog = (
        "examples:\n  etholog transition --actor male\n  etholog transition --actor male --answer female --within 30\n"
        "  etholog transition --follows drumming answers --shuffles 10000"
    )


def run(args: argparse.Namespace) -> int:
    """Print each transition that was seen; 1 where a file could not be read."""
    if args.shuffles < 0:
        raise Refusal(f"--shuffles {args.shuffles}: must be 0 or more")
    if (args.shuffles or args.follows) and (args.answer or args.lag > 1):
        raise Refusal("--shuffles and --follows are within one chain, lag 1: leave out --answer and --lag")
    if args.follows and any(":" in name for name in args.follows):
        raise Refusal("--follows takes behaviours without a side: insertion, not insertion:left")
    if args.within is not None and not args.answer:
        raise Refusal("--within goes with --answer")
    from etholog import season
    from etholog.analysis.latency import check_names
    from etholog.analysis.sentences import transition as sentences
    from etholog.analysis.transition import transition, transition_each

    read = season.read(args.folder)
    if args.follows is not None:
        check_names(read, args.follows)
        args.shuffles = args.shuffles or SHUFFLES
    how = {"actor": args.actor, "repeats": args.repeats, "longest_pause_s": args.longest_pause}
    more = {"answer": args.answer, "within_s": args.within, "lag": args.lag}
    more |= {"shuffles": args.shuffles, "seed": args.seed}
    if args.each is not None:
        found = transition_each(read, args.each, **how, **more)
        _print_each(args, found, read.labels)
    else:
        pooled = transition(read, **how, **more)
        if args.follows is not None:
            _print_one(args, read, pooled)
        else:
            plain = sentences.of_season(read, pooled, read.labels)
            short = sys.stdout.isatty() and not (args.json or args.more)
            _print(args, pooled, {} if args.answer or short else _tests(read, args.by, how), plain, read.labels)
    say(*read.findings)
    return 1 if read.findings else 0


def _print(
    args: argparse.Namespace,
    found: "Transitions",
    tests: "dict[str, ChainTest]",
    plain: list[str],
    labels: dict[str, str],
) -> None:
    long = found.long()
    if not args.json:
        lead(plain)
    if args.json:
        told = {"x2": found.x2, "g2": found.g2, "df": found.df, "p": None, "sentence": found.sentence}
        told |= {"shuffles": found.shuffles, "p_whole_shuffled": found.p_whole}
        chains = {name: {"g2": t.g2, "x2": t.x2, "df": t.df, "p": None, "rough": t.rough} for name, t in tests.items()}
        print(as_json({**told, "plain": plain, "tests": chains, "transitions": long}))
    elif not sys.stdout.isatty():
        table(long)
    elif not args.more:
        table(_short(long.head(SHORT), labels))
        tell(f"The most frequent of {len(long)}. All, their tests and what they assume: --more.")
    else:
        table(_pretty(long.head(SHOWN), labels))
        if len(long) > SHOWN:
            print(f"The {SHOWN} most frequent of {len(long)}; all of them in a pipe, or with --json.")
        if found.df:
            print(f"X2 {found.x2:.1f}, G2 {found.g2:.1f}, df {found.df}: a description.")
        tell(found.sentence)
        if found.shuffles:
            tell(
                f"By {found.shuffles:,} shuffles within sessions the whole table has {p_value(found.p_whole)}."
                f" p, shuffled: two-sided, of each; it can't be under {2 / (found.shuffles + 1):.2g}."
            )
        of_each = found.p_holm.notna().any(axis=None)
        after = " p after Holm: for all cells." if of_each or found.shuffles else ""
        tell(
            "share: of all that followed the first. residual: adjusted; over 2 is more often than chance, under -2 more"
            f" rarely.{after} few: fewer than 5 were expected, so the residual means little."
        )
        if of_each and not found.shuffles:
            tell(
                "This p takes sessions for alike. In simulated seasons in which nothing depends on what came before,"
                " some cell is under 0.05 in 4 of 100 where they are, and in 13 where they are very unlike. --shuffles"
                " 10000 does not assume it, and has a p of the whole table."
            )
        for name, test in tests.items():
            tell(f"{QUESTIONS[name].format(by=args.by)} {_verdict(test)}")


def _short(long: "pd.DataFrame", labels: dict[str, str]) -> "pd.DataFrame":
    shown = long[["first", "next", "count"]].copy()
    for name in ("first", "next"):
        shown[name] = [in_words(str(code), labels) for code in long[name]]
    shown["of what follows, %"] = 100 * long["probability"]
    shown["by chance"] = long["expected"]
    return shown


def _verdict(test: "ChainTest") -> str:
    if not test.df:
        return "There is too little to tell."
    rough = f", and a rough one: {test.few} of {test.cells} cells expect fewer than 5" if test.rough else ""
    return (
        f"G2 {test.g2:.1f}, X2 {test.x2:.1f}, df {test.df}: a description{rough}. No p: sessions are unlike each other."
    )


def _tests(read: "Season", by: str, how: dict[str, Any]) -> "dict[str, ChainTest]":
    from etholog.analysis.chain import chain_homogeneity, chain_order

    return {"order": chain_order(read, **how), "homogeneity": chain_homogeneity(read, by, **how)}


def _print_each(args: argparse.Namespace, found: "dict[Any, Transitions]", labels: dict[str, str]) -> None:
    import pandas as pd

    if not found:
        say(f"No session says anything of {args.each}: there is nothing to count.")
    parts = [one.long().assign(**{args.each: value}) for value, one in found.items()]
    long = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame({args.each: []})
    long = long[[args.each, *(name for name in long.columns if name != args.each)]]
    if args.json:
        tests = [
            {args.each: value, "x2": one.x2, "g2": one.g2, "df": one.df, "p": None, "sentence": one.sentence}
            for value, one in found.items()
        ]
        print(as_json({"each": tests, "transitions": long}))
        return
    if not sys.stdout.isatty():
        table(long)
        return
    for value, one in found.items():
        print(f"\n{args.each} {value}")
        table(_pretty(one.long().head(SHOWN // 2), labels))
        tell((f"X2 {one.x2:.1f}, df {one.df}: a description. " if one.df else "") + one.sentence)


def _print_one(args: argparse.Namespace, read: "Season", found: "Transitions") -> None:
    """Print the one transition that was asked for: no p of any other stands beside it, so none is adjusted."""
    from etholog.analysis.sentences import transition as sentences

    first, after = args.follows
    long = found.long()
    one = long[(long["first"] == first) & (long["next"] == after)]
    one = one.drop(columns=[name for name in one.columns if name.endswith("_holm")])
    p = float("nan")
    if found.p_shuffled is not None and first in found.p_shuffled.index and after in found.p_shuffled.index:
        p = float(found.p_shuffled.loc[first, after])
    plain = sentences.of_one(one, int(long[long["first"] == first]["count"].sum()), p, read.labels)
    if not args.json:
        lead(plain)
    if args.json:
        print(
            as_json(
                {"first": first, "next": after, "plain": plain, "p": p, "shuffles": found.shuffles, "transitions": one}
            )
        )
        return
    table(_pretty(one, read.labels) if sys.stdout.isatty() else one)
    if p != p:
        raise Refusal(f"{after!r} can't or did not follow {first!r} in any shuffle: nothing can be tested")
    say(f"{after} after {first}, by {found.shuffles:,} shuffles within sessions: two-sided {p_value(p)}.")


def _pretty(long: "pd.DataFrame", labels: dict[str, str]) -> "pd.DataFrame":
    shown = long.drop(columns=["few"]).rename(columns={"probability": "share", "p_holm": "p after Holm"})
    for name in ("first", "next"):
        shown[name] = [in_words(str(code), labels) for code in long[name]]
    if "p_shuffled" in shown.columns:
        shown = shown.drop(columns=["expected", "p after Holm"], errors="ignore")  # a terminal is narrow
        shown = shown.rename(columns={"p_shuffled": "p, shuffled", "p_shuffled_holm": "p after Holm"})
    elif "p after Holm" in shown.columns and shown["p after Holm"].isna().all():
        shown = shown.drop(columns="p after Holm")
    shown["few"] = ["few" if few else "" for few in long["few"]]
    return shown
