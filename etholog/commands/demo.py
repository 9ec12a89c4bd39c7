"""`etholog demo`: a minute with an invented pairing, keyed through the recorder of a live one, and its season."""

import argparse
import shlex
import shutil
import sys
import sysconfig
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.base import system
from etholog.base.shipped import folder
from etholog.base.text import visible
from etholog.commands import curve, label
from etholog.commands.output import WIDEST, columns_of, say, working, wrapped

if TYPE_CHECKING:
    from etholog.session import Session

# A brisk pairing takes about 7 minutes from his first step to the parting, and she may stay still for about 15
# afterwards; a palp
# that beats about searches, one held steady is inserted, and both are used in turn (common practice, no source).
SCRIPT = """
4 introduced, 12 s     s walks, 3 s        5 on her silk, 21 s    d drums, 9 s         w she answers, 5 s
f vibrates, 14 s       d drums, 11 s       w she answers, 4 s     e she comes, 8 s     b they touch, 71 s
d drums, 12 s          r she raises, 9 s   v he clasps, 5 s       z he probes, 11 s    x left palp, 9 s
z he probes, 48 s      c right palp, 7 s   z he probes, 52 s      x left palp, 8 s     c right palp, 44 s
z he probes, 39 s      v they part, 10 s   h he flees, 2 s        6 she is still, 1 s
"""
STILL_S = 15 * 60
SPEED = 24  # times as fast as the evening: about twenty seconds


def script() -> Iterator[tuple[float, str]]:
    """Yield (seconds since the start, key): each phrase of SCRIPT is a key, what it means, and the wait before it."""
    at = 0.0
    for phrase in SCRIPT.replace("\n", "  ").split("  "):
        if phrase.strip():
            key, rest = phrase.strip().split(" ", 1)
            at += float(rest.rsplit(",", 1)[1].removesuffix("s"))
            yield at, key


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("--headless", action="store_true", help="don't show the strip, even on a terminal")
    parser.epilog = "example:\n  etholog demo"


def run(args: argparse.Namespace) -> int:
    """Play the invented pairing, then tell in a page what it and the invented season come to."""
    from etholog import animals, ethogram, session
    from etholog.recording.opening import begin
    from etholog.recording.recorder import Recorder
    from etholog.session import summary

    workspace = Path(tempfile.mkdtemp(prefix="etholog-demo-"))
    shutil.copytree(folder("examples") / "season", workspace, dirs_exist_ok=True)
    kept = ethogram.read(folder("examples") / "terrestrial-1.toml")  # the season's own
    began = system.wall_now()
    said = {"male": "M-Flint", "female": "F-Umbra", "species": "Brachypelma smithi", "observer": "the demo"}
    journal = begin(workspace / "sessions", kept, began, 0.0, place="invented", source="invented", **said)
    recorder = Recorder(journal, kept, "left", began, 0.0)
    shown = sys.stdin.isatty() and sys.stdout.isatty()
    if shown and not args.headless:
        from etholog.screens.played import play
        from etholog.screens.themes import THEMES, Look

        pair = "M-Flint x F-Umbra (invented; any key skips)"
        if code := play(recorder, Look(THEMES["day"]), pair, script(), SPEED):
            return code
    else:
        for at, key in script():
            recorder.press(key, at)
    recorder.close(max(at for at, _ in script()) + STILL_S, {"ended": "he got out", "male_whole": True})
    journal.close()
    print("ALL OF THIS IS INVENTED: no such animals, no such evening.\n")
    pairing = session.read(journal.path)
    for line in summary.lines(pairing):
        _say(line)
    print("\nThe label for her enclosure (etholog label F-Umbra):")
    for line in list(label.lines(animals.read(workspace), "F-Umbra", ethogram.at_hand(workspace)))[1:]:
        _say(f"  {line}")
    _season(workspace, pairing, with_curve=shown)
    say(
        "What next, with your own animals (delete the demo's folder when you like):",
        _new_folder(),
        "  etholog watch --male YOUR-MALE --female YOUR-FEMALE",
    )
    return 0


def _new_folder() -> str:
    """Say how a folder is made; where the shell does not find `etholog` yet, also how it will."""
    activate = Path(sysconfig.get_path("scripts"), "activate")
    if shutil.which("etholog") is not None or not activate.is_file():
        return "  etholog new spiders          a folder for your animals; then: cd spiders"
    here = activate.relative_to(Path.cwd()) if activate.is_relative_to(Path.cwd()) else activate
    return f"  . {shlex.quote(str(here))} && etholog new spiders && cd spiders"


def _say(line: str) -> None:
    """Print a line of the page that the demo is, wherever it goes."""
    print(wrapped(line, min(WIDEST, columns_of(sys.stdout))))


def _season(workspace: Path, pairing: "Session", with_curve: bool) -> None:
    from etholog import season
    from etholog.analysis.compare import compare
    from etholog.analysis.latency import latency
    from etholog.analysis.sentences import latency as sentences
    from etholog.report import file, page

    read = season.read(workspace)
    times = latency(read, "courtship")
    print(f"\nThe season beside it, {len(read.sessions)} sessions: how long until the male courts?")
    if with_curve:
        curve.show(times, "male")
    told = sentences.of_groups(compare(times, "male"), times.attrs["label"])
    for sentence in told[-1:] if with_curve else told:  # the curve shows the times
        _say(sentence)
    out = workspace / "report.html"
    with working("Drawing the page"):
        file.write(page.html(season.of(workspace, [pairing]), [pairing]), out)
    print(visible(f"The pairing's page, for any browser: {out}"))
