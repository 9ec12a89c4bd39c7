"""`etholog duration`: bouts, totals, shares of the time watched, rates; how near two onsets make one bout; palps."""

import argparse
import math
import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING

from etholog.base.refusal import Refusal
from etholog.base.text import in_words, many
from etholog.commands.output import (
    SESSIONS_TOO,
    add_folder,
    add_json,
    add_more,
    as_json,
    goes_with,
    lead,
    limits,
    say,
    shares,
    table,
    tell,
)

if TYPE_CHECKING:
    import pandas as pd

    from etholog.season import Season


SHOWN = 120  # rows of groups on a terminal: more scroll the answer away


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("--by", metavar="COLUMN", help="for each of these, e.g. male")
    parser.add_argument("--join", type=float, metavar="S", help="bouts that lie so near are one")
    parser.add_argument("--criterion", metavar="CODE", help="instead: how near two bouts of this should be to be one")
    parser.add_argument("--balance", action="store_true", help="instead: left and right palp in insertions")
    parser.add_argument("--compare", choices=("rate", "share", "bout", "count"), help="instead: between groups of --by")
    parser.add_argument("--of", metavar="CODE", help="with --compare: this behaviour")
    parser.add_argument("--within", metavar="COLUMN", help="with --compare: permute within this, e.g. female, or none")
    parser.add_argument("--seed", type=int, default=0)
    add_folder(parser, SESSIONS_TOO)
    add_more(parser)
    add_json(parser)
    parser.epilog = (
        "examples:\n  etholog duration --by male\n  etholog duration --criterion drumming\n"
        "  etholog duration --compare rate --of drumming --by male"
    )


def run(args: argparse.Namespace) -> int:
    """Print the table; 1 where a file could not be read."""
    if args.join is not None and not args.join >= 0:
        raise Refusal(f"--join {args.join}: must be 0 or more, in seconds")
    goes_with("--compare", args.compare, of=args.of, within=args.within)
    if args.criterion is not None and args.by is not None:
        raise Refusal("--criterion is of all animals together: leave --by out")
    if args.join is not None and (args.compare or args.criterion or args.balance):
        raise Refusal("--join is about the table of durations: leave out --compare, --criterion and --balance")
    from etholog import season

    read = season.read(args.folder)
    if args.compare is not None:
        _compare(read, args)
    elif args.criterion is not None:
        _criterion(read, args)
    elif args.balance:
        _palp_balance(read, args)
    else:
        _durations(read, args)
    say(*read.findings)
    return 1 if read.findings else 0


def _durations(read: "Season", args: argparse.Namespace) -> None:
    from etholog.analysis.duration import duration
    from etholog.analysis.sentences import duration as sentences

    found = duration(read, args.by, args.join)
    plain = sentences.of_season(read, found, args.by, read.labels)
    if args.json:
        print(as_json({"join_s": args.join, "plain": plain, "durations": found}))
        return
    lead(plain)
    if not sys.stdout.isatty() or found.empty:
        table(found)
        return
    if not args.more:
        shown = _first(found, args.by) if args.by else found
        table(_short(shown, args.by, read.labels))
        if len(shown) < len(found):
            some, every = (rows[args.by].nunique(dropna=False) for rows in (shown, found))
            tell(f"The first {some} of {every} by {args.by}; all of them: --more.")
        tell("share: of the time watched. Limits, and what each number rests on: --more.")
        return
    table(_pretty(found, args.by, read.labels))
    tell(
        "cut: bouts whose end nobody saw; in the median they count as unfinished. share: of the time watched. per hour:"
        " while its actor was in sight. In brackets: 95 % limits, in which males and females vary;"
        " limits: why some are missing, or what they do not hold for."
    )
    if found["per_hour_low"].notna().any():
        tell(
            "Of 100 simulated seasons such limits held in 92 or more; those of the rate of all together (per hour) in"
            " 89 where males differ very much, those of the typical male in 91 where each has mostly one female."
        )
    tell(f"They rest on {_animals(found, args.by)}.")
    if found["limits"].nunique() == 1 and found["limits"].iloc[0]:
        tell(f"Limits are missing, or not for all animals: {found['limits'].iloc[0]}.")


def _first(found: "pd.DataFrame", by: str) -> "pd.DataFrame":
    """Return the rows of the first groups, as many as stand within so many rows, at least those of one."""
    rows = found.groupby(by, sort=False, observed=True, dropna=False)["behaviour"].transform("size").to_numpy()
    at = rows[0]
    while at < len(rows) and at + rows[at] <= SHOWN:
        at += rows[at]
    return found.iloc[:at]


def _short(found: "pd.DataFrame", by: str | None, labels: dict[str, str]) -> "pd.DataFrame":
    shown = found[[by] if by else []].copy()
    shown["behaviour"] = _named(found, labels)
    shown["bouts"] = found["count"]
    if by is None:
        shown["in all, s"] = found["total_s"]
    shown["share, %"] = 100 * found["share"]
    shown["median of one, s"] = [
        "-" if kind == "event" else _with_limits(median, math.nan, math.nan)
        for kind, median in zip(found["kind"], found["median_s"], strict=True)
    ]
    shown["per hour"] = found["per_hour"]
    return shown


def _named(found: "pd.DataFrame", labels: Mapping[str, str]) -> list[str]:
    sides = found["qualifier"].astype(object).where(found["qualifier"].notna(), None)
    codes = [
        str(code) if side is None else f"{code}:{side}" for code, side in zip(found["behaviour"], sides, strict=True)
    ]
    return [in_words(code, labels) for code in codes]


def _compare(read: "Season", args: argparse.Namespace) -> None:
    if not (args.by and args.of):
        raise Refusal("--compare needs --by COLUMN and --of CODE, e.g. --compare rate --by male --of drumming")
    from etholog.analysis.contrast import contrast
    from etholog.analysis.sentences import duration as sentences

    found = contrast(read, args.of, args.by, args.compare, args.within, seed=args.seed)
    groups = found.table.reset_index()
    plain = sentences.of_contrast(found, read.labels.get(args.of, args.of))
    if args.json:
        words = ("measure", "within", "p", "permutations", "exact", "smallest_p", "dispersion", "sentence")
        told = {name: getattr(found, name) for name in words}
        print(as_json({**told, "plain": plain, "groups": groups, "pairs": found.pairs}))
        return
    lead(plain)
    if not sys.stdout.isatty():
        table(found.pairs)
        say(found.sentence)
        return
    of = {"rate": "hours in sight", "share": "s watched", "bout": "bouts that ended", "count": "sessions watched"}
    table(groups.rename(columns={"above": "in all", "below": of[args.compare], "value": args.compare}))
    shown = found.pairs[["first", "second"]].copy()
    shown["ratio"] = [
        _bracketed(f"{ratio:.2f}", f"{low:.2f} to {high:.2f}", low == low)
        for ratio, low, high in zip(found.pairs["ratio"], found.pairs["low"], found.pairs["high"], strict=True)
    ]
    shown["p after Holm"] = found.pairs["p_holm"]
    shown["smallest p"] = found.pairs["smallest_p"]
    shown["no limits"] = [why or "-" for why in found.pairs["why"]]
    table(shown, title="The second by the first; in brackets 95 % limits")
    tell(found.sentence)


def _animals(found: "pd.DataFrame", by: str | None) -> str:
    """Return on how many animals the limits rest, for each group."""
    each = found.drop_duplicates([by] if by else ["males", "females"]).to_dict("records")
    told = [f"{many(row['males'], 'male')} and {many(row['females'], 'female')}" for row in each]
    if by is None or len(set(told)) == 1:
        return told[0]
    return "; ".join(f"{row[by]}: {words}" for row, words in zip(each, told, strict=True))


def _pretty(found: "pd.DataFrame", by: str | None, labels: Mapping[str, str]) -> "pd.DataFrame":
    shown = found[[by] if by else []].copy()
    shown["behaviour"] = _named(found, labels)
    shown[["count", "cut"]] = found[["count", "cut"]]
    shown["total, s"] = found["total_s"]
    event = (found["kind"] == "event").tolist()
    shown["share"] = [
        shares(*three) for three in zip(found["share"], found["share_low"], found["share_high"], strict=True)
    ]
    shown["median, s"] = [
        "-" if is_event else _with_limits(*cells)
        for is_event, *cells in zip(
            event, found["median_s"], found["median_low_s"], found["median_high_s"], strict=True
        )
    ]
    rates = {"per hour": ("per_hour", "per_hour"), "typical male": ("typical_per_hour", "typical")}
    for head, (middle, name) in rates.items():
        if head == "per hour" or (found["males"] > 1).any():
            cells = zip(found[middle], found[f"{name}_low"], found[f"{name}_high"], strict=True)
            shown[head] = [_with_limits(*cell) for cell in cells]
    if found["limits"].nunique() > 1:
        shown["limits"] = [why or "-" for why in found["limits"]]
    return shown


def _with_limits(value: float, low: float, high: float) -> str:
    middle = "not reached" if value != value else f"{value:,.1f}"
    return _bracketed(middle, limits(low, high), low == low or high == high)


def _bracketed(middle: str, ends: str, known: bool) -> str:
    return f"{middle} ({ends})" if known else middle


def _criterion(read: "Season", args: argparse.Namespace) -> None:
    from etholog.analysis.bout import bout_pauses, criterion

    found = criterion(bout_pauses(read, args.criterion))
    if args.json:
        told = {name: getattr(found, name) for name in ("criterion_s", "within", "within_rate", "between")}
        told |= {name: getattr(found, name) for name in ("between_rate", "misassigned", "sentence", "classes")}
        print(as_json({"behaviour": args.criterion, **told}))
        return
    lead([found.sentence])
    shown = found.classes
    if sys.stdout.isatty():
        heads = {"low_s": "from, s", "high_s": "to, s", "count": "pauses", "log_frequency": "log of their frequency"}
        shown = shown.rename(columns=heads)
    what = in_words(args.criterion, read.labels)
    table(shown, title=f"Pauses between bouts of {what}, in classes that hold as many each")


def _palp_balance(read: "Season", args: argparse.Namespace) -> None:
    from etholog.analysis.balance import palp_balance
    from etholog.analysis.sentences import duration as sentences

    found = palp_balance(read, by=args.by)
    plain = sentences.of_balance(found)
    if args.json:
        print(as_json({"plain": plain, "balance": found}))
        return
    lead(plain)
    if not sys.stdout.isatty():
        table(found)
        return
    shown = found[[args.by] if args.by else []].copy()
    shown[["left", "right"]] = found[["left", "right"]]
    shown[["left, s", "right, s"]] = found[["left_s", "right_s"]]
    shown["left share"] = [
        shares(*three) for three in zip(found["left_share"], found["low"], found["high"], strict=True)
    ]
    shown["turns"] = [f"{turns} of {pairs}" for turns, pairs in zip(found["turns"], found["pairs"], strict=True)]
    shown["by chance"] = [shares(value) for value in found["chance"]]
    table(shown, title="Insertions by palp")
    tell(
        "left share: of the insertions; in brackets its 95 % limits, in which males and females vary. turns: how often"
        " the next insertion was with the other palp; by chance: the share that would be if sides came in any order."
    )
    for row in found.to_dict("records"):
        who = f"{row[args.by]}: " if args.by else ""
        rest = f"{many(row['males'], 'male')} and {many(row['females'], 'female')}"
        tell(f"{who}{rest}" + (f"; no limits, or not for all: {row['limits']}." if row["limits"] else "."))
