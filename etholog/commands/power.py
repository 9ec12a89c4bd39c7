"""`etholog power`: how many males and sessions it takes to see a difference."""

import argparse
import sys
from typing import TYPE_CHECKING

from etholog.base.refusal import Refusal
from etholog.base.text import percent
from etholog.commands.output import SESSIONS_TOO, add_folder, add_json, as_json, draw, picture_file, say, table, tell

if TYPE_CHECKING:
    import pandas as pd


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("interval", nargs="?", help="plan from your own sessions: an interval, such as courtship")
    parser.add_argument("--median", type=float, metavar="SECONDS", help="instead: the median that you expect")
    parser.add_argument("--watch", type=float, metavar="SECONDS", help="how long a session is watched")
    parser.add_argument("--times", type=float, default=2.0, metavar="N", help="how many times as long (default: 2)")
    parser.add_argument("--males", type=int, nargs="+", default=[4, 6, 8, 10], metavar="N", help="default: 4 6 8 10")
    parser.add_argument("--sessions", type=int, nargs="+", default=[2, 4, 6], metavar="N", help="each (default: 2 4 6)")
    parser.add_argument("--like", type=float, nargs="+", default=[0.1, 0.4], metavar="R", help="repeatabilities to try")
    parser.add_argument("--draw", type=picture_file, metavar="FILE", help="draw it, as .svg, .pdf or .png")
    parser.add_argument("--seed", type=int, default=0)
    add_folder(parser, SESSIONS_TOO)
    add_json(parser)
    parser.epilog = (
        "examples:\n  etholog power courtship --times 3\n  etholog power --median 120 --watch 1800 --males 6 12"
    )


def run(args: argparse.Namespace) -> int:
    """Print the power of each design; 1 where a file could not be read."""
    from etholog.analysis.power import power
    from etholog.commands.output import working

    if (args.interval is None) == (args.median is None):
        raise Refusal("name an interval to plan from your own sessions, or --median SECONDS: one of the two")
    times, findings = None, []
    if args.interval:
        from etholog import season as season_
        from etholog.analysis.latency import latency

        season = season_.read(args.folder)
        times, findings = latency(season, args.interval), season.findings
    with working("Simulating seasons ..."):
        found = power(
            times, args.median, args.watch, args.times, args.males, args.sessions, args.like, seed=args.seed
        )  # fmt: skip
    if args.draw:
        from etholog import figures

        draw(figures.power(found), args.draw)
    words = _sentence(found, args.times)
    if args.json:
        print(as_json({"designs": found, "sentence": words}))
    elif sys.stdout.isatty():
        table(_pretty(found), f"Share of seasons in which a latency {args.times:g} times as long shows, at p <= .05")
        tell(words)
    else:
        table(found)
        say(words)
    say(*findings)
    return 1 if findings else 0


def _pretty(found: "pd.DataFrame") -> "pd.DataFrame":
    """Return one row for each number of males and sessions, the repeatabilities as a range."""
    import pandas as pd

    from etholog.analysis.power import can_show

    rows = []
    for (males, sessions), own in found.groupby(["males", "sessions"]):
        row = {"males": males, "sessions each": sessions, "it comes in": f"{own['events'].mean():.0f}"}
        for name, head in (("within", "session to session"), ("between", "kinds of males"), ("differ", "males differ")):
            low, high = own[name].min(), own[name].max()
            least = own[f"{name}_smallest_p"].iloc[0] if f"{name}_smallest_p" in own else 0.0
            row[head] = f"{percent(low)} to {percent(high)}" if can_show(least) else f"never (p {least:.2g} at best)"
        rows.append(row)
    return pd.DataFrame(rows)


def _sentence(found: "pd.DataFrame", times: float) -> str:
    from etholog.analysis.power import schoenfeld

    alike = found["like"].min(), found["like"].max()
    most = int(found["sessions"].max())
    error = 2 * float(found["se"].max())
    grown = schoenfeld(times, sessions=most, like=alike[1])
    return (
        f"Each range runs over repeatabilities from {alike[0]:g} to {alike[1]:g}, that is over how alike one male's"
        f" sessions are, give or take {percent(error)} of the simulation itself. Session to session: half of"
        " each male's sessions differ. Kinds of males: half of the males do. Males differ: that they do at all, by"
        " these repeatabilities, were every session finished. For independent sessions and a ratio of hazards of"
        f" {times:g}, Schoenfeld's formula asks for {schoenfeld(times):.0f} in which it comes (80 % power); with {most}"
        f" of each male and two kinds of males up to {grown:.0f}. A latency {times:g} times as long is such a ratio"
        " where latencies are exponential; where they spread wider, it is nearer to 1 and takes more."
        " Plan for the lower end."
    )
