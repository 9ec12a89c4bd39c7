"""Measure drawing: `python -m tests.bench.figures`.

A strip of 500 bouts against the same axes without any, and against one bar a bout as it comes to mind first; and the
report on fifty sessions, its size and its time. Then the report on the shipped season as its command makes it, against
the import of what draws it: by the clock, and of all processors. Python's bytecode is kept meanwhile, as an install
keeps it; without it (`PYTHONDONTWRITEBYTECODE`) each start reads all source anew, which takes longer than the import.
"""

import dataclasses
import os
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from etholog import season, session
from etholog.figures import strip
from etholog.figures.style import ReproducibleFigure, plate, rules
from etholog.report import page
from etholog.season import Season
from etholog.session.folding import Bout, Fold

BOUTS, ROUNDS, RUNS = 500, 7, 3
SESSION = Path("examples/season/sessions/20260322-2043-M-Onyx-F-Sepia.jsonl")


def long_session() -> Season:
    """The invented session with 500 bouts of its states, at random."""
    one = session.read(SESSION)
    generator = np.random.default_rng(0)
    states = [b.code for b in one.ethogram.behaviour if b.kind == "state"]
    onsets = np.sort(generator.integers(0, 3_600_000, BOUTS))
    bouts = [
        Bout(n, states[n % len(states)], None, int(t), int(t) + int(generator.integers(500, 20_000)), True, True)
        for n, t in enumerate(onsets)
    ]
    read = dataclasses.replace(one)
    read.__dict__["fold"] = Fold(bouts, [], [], [], 3_700_000, True, {}, BOUTS)
    return season.of(SESSION.parent, [read])


def empty(like: ReproducibleFigure) -> ReproducibleFigure:
    """The same figure with its axes and labels, and nothing drawn in them."""
    with rules():
        figure = plate("page", float(like.get_figheight()))
        axes, old = figure.subplots(), like.axes[0]
        axes.set_xlim(old.get_xlim())
        axes.set_ylim(old.get_ylim())
        axes.set_yticks(old.get_yticks(), [label.get_text() for label in old.get_yticklabels()])
        return figure


def one_bar_a_bout(table: Season) -> ReproducibleFigure:
    with rules():
        figure = plate("page", 3.0)
        axes = figure.subplots()
        names = list(table.bouts["behaviour"].cat.categories)
        for bout in table.bouts.itertuples():
            axes.barh(names.index(bout.behaviour), bout.duration_s, left=bout.onset_s)
        return figure


def medians(*works: Callable[[], object]) -> list[tuple[float, float, float]]:
    """Median, least and most seconds of each, the works taking turns."""
    spent: list[list[float]] = [[] for _ in works]
    for _ in range(ROUNDS):
        for times, work in zip(spent, works, strict=True):
            began = time.perf_counter()
            work()
            times.append(time.perf_counter() - began)
    return [(statistics.median(times), min(times), max(times)) for times in spent]


def spent(*arguments: str, env: dict[str, str]) -> tuple[float, float]:
    """Seconds that Python with these arguments takes, by the clock and of all processors."""
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run([sys.executable, *arguments], env=env, check=True, stdout=subprocess.DEVNULL)
    clock, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    return clock, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def by_command() -> None:
    """Print what the report on the shipped season takes, and what importing pandas and matplotlib does, by turns."""
    with TemporaryDirectory() as held:
        env = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
        env["PYTHONPYCACHEPREFIX"] = held
        season_ = str(SESSION.parent.parent)
        report = ("-m", "etholog", "report", "--season", "--folder", season_, "--out", f"{held}/report.html")
        imports = ("-c", "import pandas, matplotlib.figure")
        first = spent(*report, env=env)  # writes the bytecode
        pairs = [(spent(*report, env=env), spent(*imports, env=env)) for _ in range(RUNS)]
    for name, (clock, used) in (
        ("first report, bytecode not yet there", first),
        *(
            (name, tuple(statistics.median(pair[at][of] for pair in pairs) for of in (0, 1)))
            for at, name in enumerate(("report on the shipped season", "import of pandas and matplotlib"))
        ),
    ):
        print(f"{name}: {clock:.1f} s by the clock, {used:.1f} s of {os.cpu_count()} processors")
    ratio = statistics.median(report[1] / imports[1] for report, imports in pairs)
    print(f"the report takes x {ratio:.1f} of that import, in time of processors")


def main() -> None:
    table = long_session()
    like = strip(table)
    shapes = [patch for patch in like.axes[0].patches if str(patch.get_gid()).startswith("bouts:")]
    assert sum(len(shape.get_path().vertices) // 5 for shape in shapes) == BOUTS
    ours, bare, naive = medians(
        lambda: strip(table).content("png"),
        lambda: empty(like).content("png"),
        lambda: one_bar_a_bout(table).content("png"),
    )
    for name, (median, low, high) in (("strip", ours), ("empty axes", bare), ("a bar a bout", naive)):
        print(f"{name}: {1000 * median:.0f} ms ({1000 * low:.0f} to {1000 * high:.0f})")
    print(
        f"{BOUTS} bouts: x {ours[0] / bare[0]:.1f} of empty axes, x {naive[0] / ours[0]:.1f} quicker than a bar a bout"
    )

    found, _ = season.sessions_in(SESSION.parent)
    firsts = [one for one in found if "record_of" not in one.header]
    fifty = [
        dataclasses.replace(one, header={**one.header, "id": f"{one.id}-{turn}"}) for turn in range(2) for one in firsts
    ][:50]
    began = time.perf_counter()
    html = page.html(season.of(SESSION.parent, fifty), fifty)
    print(f"report on {len(fifty)} sessions: {len(html.encode()) / 1e6:.2f} MB in {time.perf_counter() - began:.1f} s")
    by_command()


if __name__ == "__main__":
    main()
