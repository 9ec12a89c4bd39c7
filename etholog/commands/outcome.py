"""`etholog outcome`: which pairings gave sacs, what the evening looked like when they did, and what practice helped."""

import argparse
import sys
from datetime import date
from typing import TYPE_CHECKING

from etholog.base.dates import as_of
from etholog.base.refusal import Refusal
from etholog.base.text import many
from etholog.commands.output import (
    add_folder,
    add_json,
    add_more,
    add_today,
    as_json,
    draw,
    goes_with,
    lead,
    limits,
    picture_file,
    say,
    table,
    tell,
)

if TYPE_CHECKING:
    import pandas as pd

    from etholog.season import Season


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("--practice", metavar="NAME", help="what came of it with a practice and without")
    parser.add_argument("--day", type=float, metavar="N", help="the share with a sac by day N since the pairing")
    parser.add_argument("--signs", action="store_true", help="how long before a sac each sign showed")
    parser.add_argument(
        "--draw", type=picture_file, metavar="FILE", help="with --signs: draw them, as .svg, .pdf or .png"
    )
    parser.add_argument("--each", action="store_true", help="one row for each attempt")
    add_today(parser, "as known on that day")
    add_folder(parser)
    add_more(parser)
    add_json(parser)
    parser.epilog = (
        "examples:\n  etholog outcome\n  etholog outcome --each\n"
        '  etholog outcome --practice "cool rest"\n  etholog outcome --signs'
    )


def run(args: argparse.Namespace) -> int:
    """Print what was asked for; 1 where a card or a session could not be used."""
    from etholog import season as season_
    from etholog.analysis import outcome

    goes_with("--signs", args.signs, draw=args.draw)
    if args.day is not None and (args.practice or args.signs or args.each):
        raise Refusal("--day is about the shares of all attempts: leave out --practice, --signs and --each")
    today = as_of(args.today)
    season = season_.part(args.folder, outcome.looks_at)
    if args.practice:
        from etholog.analysis.practice import practice_outcomes

        found = practice_outcomes(season, args.practice, today)
        shown = found.table if args.json or not sys.stdout.isatty() else _practice(found.table)
        _out(args.json, {"practice": shown}, {"practice": f"With {args.practice} and without"}, found.sentence)
    elif args.signs:
        _signs(season, today, args)
    elif args.each:
        found_rows = outcome.outcomes(season, today)
        shown = found_rows if args.json or not sys.stdout.isatty() else _narrow(found_rows)
        _out(args.json, {"attempts": shown}, {"attempts": "Attempts"}, "")
    else:
        attempts = outcome.outcomes(season, today)
        if args.day is not None and not 0 < args.day < 10_000:
            raise Refusal(f"--day {args.day:g}: a number of days above 0, such as 120")
        parts = {
            "funnel": outcome.funnel(attempts, args.day),
            "time_to_sac": outcome.time_to_sac(attempts).reset_index(),
            "evening": outcome.evening_measures(attempts),
        }
        from etholog.analysis.sentences import outcome as sentences

        plain = sentences.of_season(attempts, parts["funnel"], today)
        words = _sentence(attempts, parts["evening"])
        if args.json:
            print(as_json({**parts, "plain": plain, "sentence": words}))
        else:
            lead(plain)
            _tables(parts, args.more, words)
    faults = [*season.findings, *season.animals.findings]
    say(*dict.fromkeys(faults))
    return 1 if faults else 0


def _signs(season: "Season", today: date, args: argparse.Namespace) -> None:
    from etholog.analysis.sign import signs, signs_seen

    seen = signs_seen(season, today)
    if args.draw:
        from etholog import figures

        draw(figures.signs(seen), args.draw)
    shown = signs(seen)
    missing = next(iter(shown["limits"]), "")
    if not args.json and sys.stdout.isatty():
        told = {name: _with_limits(shown, name) for name in ("sacs", "none")}
        kept = shown[["sign", "sacs", "days_least", "days_median", "days_most", "none"]].assign(**told)
        heads = {"sacs": "before a sac", "none": "without a sac", "days_median": "middle"}
        shown = kept.rename(columns=heads).rename(columns=lambda name: name.replace("days_", ""))
    _out(
        args.json,
        {"signs": shown},
        {"signs": "In how many attempts a sign showed (95 % limits), and how many days before the sac"},
        f"No limits {missing}. {SIGNS}" if missing else SIGNS,
    )


def _with_limits(rows: "pd.DataFrame", count: str) -> list[str]:
    """Return counts with the limits of their share, where there are some: `2 of 4 (13 to 87 %)`."""
    names = (count, f"of_{count}", f"{count}_low", f"{count}_high")
    return [
        f"{some} of {every}" + (f" ({100 * low:.0f} to {100 * high:.0f} %)" if low == low else "")
        for some, every, low, high in zip(*(rows[name] for name in names), strict=True)
    ]


def _of(rows: "pd.DataFrame", count: str, of: str, head: str) -> "pd.DataFrame":
    """Return a table in which a count and that of which it is are one column: `2 of 4`."""
    told = [f"{some} of {every}" for some, every in zip(rows[count], rows[of], strict=True)]
    return rows.assign(**{count: told}).drop(columns=of).rename(columns={count: head})


def _practice(rows: "pd.DataFrame") -> "pd.DataFrame":
    if rows.empty:
        return rows
    shown = _of(_of(rows, "with", "with_of", "with it"), "without", "without_of", "without it")
    heads = {"with_days": "days with it", "without_days": "days without", "ratio": "ratio, with to without"}
    return shown.rename(columns=heads)


TITLES = {
    "funnel": "From introduced to young, an attempt being all pairings of one female in one intermoult",
    "time_to_sac": "Share that had come to each end, by days since the last pairing that may have taken",
    "evening": "What of the evening goes with a sac",
}
SIGNS = (
    "Signs are not proof: before a moult she looks much the same. Looking closely disturbs her; use a torch, and no"
    " more often than needed."
)


def _tables(parts: "dict[str, pd.DataFrame]", more: bool, words: str) -> None:
    """Print the funnel, and with `--more` the rest; into a pipe the funnel alone, since one CSV holds one table."""
    if not sys.stdout.isatty():
        _out(False, {"funnel": parts["funnel"]}, TITLES, f"{words} The other two tables: --json.")
        return
    steps = parts["funnel"]
    shown = steps[["step", "reached", "of"]].copy()
    shown["share, %"] = 100 * steps["share"]
    shown["95 % limits, %"] = [
        limits(100 * low, 100 * high, "-") for low, high in zip(steps["low"], steps["high"], strict=True)
    ]
    shown["by day"] = ["" if day != day else f"{day:.0f}" for day in steps["day"]]
    if more:
        shown["waiting, not so long yet"] = steps["open"]
    table(shown, TITLES["funnel"])
    if not more:
        tell("What ended the waiting day by day, and what of the evening goes with a sac: --more.")
        return
    ends = parts["time_to_sac"].rename(
        columns=lambda name: f"{name.removeprefix('se_')}: its error" if name.startswith("se_") else name
    )
    table(ends, TITLES["time_to_sac"])
    evening = parts["evening"]
    shown = evening[["measure", "n_sac", "n_none", "females", "males"]].rename(
        columns={"n_sac": "with a sac", "n_none": "without"}
    )
    shown["measure"] = [MEASURED.get(name, name) for name in evening["measure"]]
    shown["typical difference"] = evening["shift"]
    shown["limits"] = [limits(low, high, "-") for low, high in zip(evening["low"], evening["high"], strict=True)]
    shown["larger with a sac, share"] = evening["larger"]
    shown["p"] = evening["p"]
    table(shown, TITLES["evening"])
    tell(words)


MEASURED = {
    "insertion_s": "insertions, s", "insertions": "insertions", "palps": "palps used",
    "latency_s": "courtship latency, s",
}  # fmt: skip


def _narrow(attempts: "pd.DataFrame") -> "pd.DataFrame":
    from etholog.analysis.outcome import evidence_words

    shown = attempts[["female", "males", "last_on", "end", "days", "insertion_s"]].copy()
    shown["evidence"] = evidence_words(attempts)
    shown["young"] = attempts["stages"]
    return shown.rename(columns={"last_on": "last on", "insertion_s": "insertions, s"})


def _compared(evening: "pd.DataFrame") -> str:
    how = [one for one in dict.fromkeys(evening["compared"]) if one]
    if not how:
        return ": too few for a p."
    said = " and ".join("within females" if one == "within females" else "each female once" for one in how)
    return f", p by permuting {said}, each male with his first attempt alone: one small p among four is not a finding."


def _sentence(attempts: "pd.DataFrame", evening: "pd.DataFrame") -> str:
    from etholog.analysis.sentences.outcome import UNPROVEN
    from etholog.session.evidence import Evidence

    taken = attempts[attempts["may_have_taken"]]
    closed = taken[taken["end"] != "open"]
    sacs = int((closed["end"] == "sac").sum())
    unseen = int((closed["end"].eq("sac") & ~(closed["seen"] >= Evidence.INSERTION)).sum())
    alone = f", {unseen} of them after an insertion that nobody saw (the sac is the evidence)" if unseen else ""
    tried = f"{many(len(closed), 'attempt')} of {many(closed['female'].nunique(), 'female')}"
    return (
        f"{many(len(taken), 'attempt')} in which sperm may have been transferred, {len(taken) - len(closed)} of them"
        f" still open (each counts for as long as it has waited); {sacs} gave a sac{alone}. Shares from the sac on:"
        f" what had come by the day that is named. {len(evening)} measures of the evening were tried on {tried}"
        f"{_compared(evening)} {UNPROVEN}"
    )


def _out(json: bool, parts: "dict[str, pd.DataFrame]", titles: dict[str, str], sentence: str) -> None:
    if json:
        print(as_json({**parts, "sentence": sentence}))
        return
    if sentence:
        lead([sentence])
    for name, frame in parts.items():
        table(frame, titles[name])
