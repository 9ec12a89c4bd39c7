"""`etholog demo`: an invented pairing, key by key through the recorder of a live one, beside an invented season."""

import argparse
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

from etholog import ethogram, session
from etholog.base import system
from etholog.base.shipped import folder
from etholog.base.text import visible
from etholog.commands import duration, label, latency, outcome, transition
from etholog.commands.output import say
from etholog.recording.opening import begin
from etholog.recording.recorder import Recorder
from etholog.session import summary

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
SPEED = 60


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
    """Record the invented pairing, then print what it and the invented season come to."""
    workspace = Path(tempfile.mkdtemp(prefix="etholog-demo-"))
    shutil.copytree(folder("examples") / "season", workspace, dirs_exist_ok=True)
    kept = ethogram.read(folder("examples") / "terrestrial-1.toml")  # the season's own
    began = system.wall_now()
    said = {"male": "M-Flint", "female": "F-Umbra", "species": "Brachypelma smithi", "observer": "the demo"}
    journal = begin(workspace / "sessions", kept, began, 0.0, place="invented", source="invented", **said)
    recorder = Recorder(journal, kept, "left", began, 0.0)
    if sys.stdin.isatty() and sys.stdout.isatty() and not args.headless:
        _play_on_the_strip(recorder)
    else:
        for at, key in script():
            recorder.press(key, at)
    end = max(at for at, _ in script()) + STILL_S
    recorder.close(end, {"ended": "he got out", "male_whole": True})
    journal.close()
    print("ALL OF THIS IS INVENTED: no such animals, no such evening.\n")
    print("One pairing, keyed through the recorder:\n")
    for line in summary.lines(session.read(journal.path)):
        print(visible(line))
    print("\nThe season beside it:")
    _measures(workspace)
    say(
        "",
        f"The invented season lies in {workspace}; delete it when you like. What to run next, with your own animals:",
        "  etholog watch --male YOUR-MALE --female YOUR-FEMALE",
        "  etholog latency courtship --by male",
    )
    return 0


def _play_on_the_strip(recorder: Recorder) -> None:
    from etholog.screens.app import WatchApp
    from etholog.screens.themes import THEMES, Look
    from etholog.screens.watching import Watching

    class Played(Watching):
        """The watch screen with invented fingers on its keys, and a clock that runs `SPEED` times as fast."""

        compares_clocks = False

        def on_mount(self) -> None:
            super().on_mount()
            started = system.now()
            self._clock = lambda: (system.now() - started) * SPEED
            self._stamp = lambda _: self._clock()  # a key of the onlooker falls into the invented time
            for at, key in script():
                self.set_timer(at / SPEED, lambda at=at, key=key: self._told(self.recorder.press(key, at)))
            last = max(at for at, _ in script())
            self.set_timer((last + 60) / SPEED, lambda: self.dismiss(True))

    dress = Look(THEMES["day"])
    played = Played(recorder, dress, pair="M-Flint x F-Umbra (invented)", asks=False)
    WatchApp(dress, watching=played).run()


def _measures(workspace: Path) -> None:
    asked: tuple[tuple[ModuleType, list[str]], ...] = (
        (latency, ["courtship"]),
        (duration, []),
        (transition, ["--actor", "male"]),
        (outcome, ["--today", "2026-11-20"]),
        (label, ["F-Umbra"]),
    )
    for command, words in asked:
        parser = argparse.ArgumentParser()
        command.configure(parser)
        print(f"\n$ etholog {command.__name__.rsplit('.', 1)[1]} {' '.join(words)}")
        sys.stdout.flush()
        command.run(parser.parse_args([*words, "--folder", str(workspace)]))
