"""Marking from film, in a real terminal beside a real mpv; what mpv shows is read from its own screenshots."""

import json
import os
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from subprocess import CompletedProcess
from typing import Any

import pytest

from etholog import session
from etholog.base import system
from etholog.base.refusal import Refusal
from etholog.film.alignment import clips_of
from etholog.film.cuts import whole
from etholog.recording.film_clock import FilmClock
from etholog.screens.mpv import Mpv
from tests.conftest import need
from tests.film.making import event, numbered, numbers, recorded, state
from tests.screens.terminal import Terminal

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="there are no ptys there")]
Run = Callable[..., CompletedProcess[str]]

LEFT, RIGHT, UP, DOWN, PAGE_UP, PAGE_DOWN = "\x1b[D", "\x1b[C", "\x1b[A", "\x1b[B", "\x1b[5~", "\x1b[6~"


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A home of mpv's own in which it neither wants a display nor a loudspeaker."""
    need("mpv")
    folder = tmp_path / "mpv"
    folder.mkdir()
    (folder / "mpv.conf").write_text("vo=null\nao=null\n")
    return folder


@pytest.fixture
def shown(home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Mpv, FilmClock]]:
    monkeypatch.setenv("MPV_HOME", str(home))
    clock = FilmClock(0.0, 20.02, lambda film_s: film_s * 1000)
    film = Mpv([(numbered(tmp_path / "film.mp4", 20, "30000/1001"), 20.02)], 0.0, clock.shown)
    yield film, clock
    film.close()


def until(what: Callable[[], Any], seconds: float = 20.0) -> Any:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = what()
        if found:
            return found
        time.sleep(0.02)
    raise AssertionError(f"did not come in {seconds} s")


def seen(film: Mpv, folder: Path) -> int:
    """Return the number of the frame that mpv shows, from its pixels."""
    shot = folder / f"shot{time.monotonic_ns()}.png"
    film._tell("screenshot-to-file", str(shot), "video")
    until(lambda: shot.exists() and shot.stat().st_size)
    time.sleep(0.1)  # until it is written to its end
    return numbers(shot)[0]


def frame(clock: FilmClock) -> int:
    """Return the frame that the clock takes for the one on screen; 30000/1001 frames make a second."""
    return round(clock.film_s(system.now()) * 30000 / 1001)


def test_the_clock_says_which_frame_mpv_shows(shown: tuple[Mpv, FilmClock], tmp_path: Path) -> None:
    film, clock = shown
    assert film.paused
    assert (seen(film, tmp_path), frame(clock)) == (0, 0)
    for _ in range(3):
        before = frame(clock)
        film.step(forward=True)
        until(lambda before=before: frame(clock) == before + 1)
    assert seen(film, tmp_path) == frame(clock) == 3
    film.toggle()
    until(lambda: frame(clock) > 40)
    film.pause()
    until(lambda: film.paused)
    time.sleep(0.2)
    assert seen(film, tmp_path) == frame(clock)
    far = clock.furthest
    film.seek(0.5)  # between frames 14 and 15: the next one is shown
    until(lambda: frame(clock) == 15)
    assert seen(film, tmp_path) == 15
    assert clock.furthest == far
    film.step(forward=False)
    until(lambda: frame(clock) == 14)
    assert seen(film, tmp_path) == 14
    film.set_speed(16)
    film.toggle()
    until(lambda: film.at_end)
    assert frame(clock) >= 597  # the last of 600, or so near to it as a screen at 16 times the speed comes


def test_a_key_is_stamped_with_the_frame_of_its_arrival_not_of_its_handling(shown: tuple[Mpv, FilmClock]) -> None:
    film, clock = shown
    film.toggle()
    until(lambda: frame(clock) > 20)
    at, then = system.now(), frame(clock)
    time.sleep(0.5)
    assert frame(clock) > then
    assert abs(round(clock.film_s(at) * 30000 / 1001) - then) <= 1


def test_a_film_that_cannot_be_shown_is_refused(home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MPV_HOME", str(home))
    (tmp_path / "no.mp4").write_text("no film")
    with pytest.raises(Refusal, match="mpv"):
        Mpv([(tmp_path / "no.mp4", 1.0)], 0.0, lambda _: None)


def test_without_mpv_it_says_how_to_get_it(tmp_path: Path) -> None:
    film = numbered(tmp_path / "film.mp4", 2)
    (tmp_path / "ffmpeg").symlink_to(str(shutil.which("ffmpeg")))
    with Terminal("watch", "--film", str(film), cwd=tmp_path, PATH=str(tmp_path)) as terminal:
        terminal.until("https://mpv.io")
        assert terminal.wait() == 2


def the_file(folder: Path) -> Path:
    (file,) = (folder / "sessions").glob("*.jsonl")
    return file


def test_marks_lie_on_their_frames(home: Path, tmp_path: Path, etholog: Run) -> None:
    film = numbered(tmp_path / "film.mp4", 20)
    words = ("watch", "--male", "M-Flint", "--female", "F-Sepia", "--film", str(film))
    with Terminal(*words, cwd=tmp_path, columns=100, MPV_HOME=str(home)) as terminal:
        terminal.until("PAUSED")
        for n in range(1, 11):
            terminal.type(PAGE_DOWN)
            terminal.until(f"film 0:{n / 25:06.3f}")
        terminal.type("4")  # introduced, at frame 10
        terminal.until("introduced 0:00:00")
        for n in range(11, 16):
            terminal.type(PAGE_DOWN)
            terminal.until(f"film 0:{n / 25:06.3f}")
        terminal.type("d")  # drumming begins at frame 15
        terminal.until("palpal drumming began")
        terminal.type(UP + UP)
        terminal.type(" ")
        terminal.until("x 4")
        terminal.type(DOWN)  # slower again: on a busy machine, four seconds at a time would be gone unseen
        terminal.until("x 2")
        terminal.until("0:00:04  ")
        terminal.type(" ")
        paused = int(terminal.until("PAUSED").split()[0][-1])
        terminal.type("d")
        terminal.until("palpal drumming ended")
        terminal.type(LEFT)
        terminal.until(f"0:00:0{paused - 3}  ")
        terminal.type("w")  # she answers, marked on the way back
        terminal.until("she answers")
        terminal.type("?")
        assert "Left 3 s back" in terminal.until("Space play")
        terminal.end_and_leave()
    read = session.read(the_file(tmp_path))
    marks = {r["code"] + r.get("edge", ""): r["t"] for r in read.records if r["do"] == "mark"}  # type: ignore[typeddict-item]
    assert marks["introduced"] == 400
    assert marks["drummingonset"] == 600
    assert marks["drummingoffset"] % 40 == 0
    assert 4000 <= marks["drummingoffset"] < 6000
    assert abs(marks["drummingoffset"] - 3000 - marks["answers"]) <= 40
    assert read.fold.closed
    assert read.fold.end >= marks["drummingoffset"]  # as far as was seen, not where it was wound back to
    assert not read.fold.remarks
    assert read.header["source"] == "film film.mp4"
    # The film is aligned with what was marked from it, to the frame.
    (clip,) = clips_of(read)
    cuts = whole([clip])
    assert [cuts.frame_of(cuts.cuts[0], t) for t in (marks["introduced"], marks["drummingonset"])] == [10, 15]
    done = etholog("film", "cuts", the_file(tmp_path))
    assert "those of the film's own frames" in done.stderr


def test_a_second_observers_record_can_be_compared(home: Path, tmp_path: Path, etholog: Run) -> None:
    film = numbered(tmp_path / "film.mp4", 20)
    made = recorded(
        tmp_path, ("sync", 500, {}), event("touch", 1_000), *state("clasp", 2_000, 4_000), end=8_000, name="first"
    )
    words = ("watch", "--observer", "second", "--film", str(film), "--of", str(made.path))
    with Terminal(*words, cwd=tmp_path, columns=100, MPV_HOME=str(home)) as terminal:
        terminal.until("is not aligned")
        assert terminal.wait() == 2
    # The session's 0.5 s is on the film's second 2: it began 1.5 s into the film, where the second record begins too.
    assert etholog("film", "align", made.path, film, "--seen", "2").returncode == 0
    with Terminal(*words, cwd=tmp_path, columns=100, MPV_HOME=str(home)) as terminal:
        terminal.until("film 0:01.5")
        for key, frame_number in (("b", 62), ("v", 90), ("v", 135)):
            terminal.type(" ")
            terminal.until(f"film 0:{frame_number // 25:02d}.")
            terminal.type(" ")
            terminal.until("PAUSED")
            now = float(terminal.screen().split("film 0:")[1][:6])
            for _ in range(abs(round(now * 25) - frame_number)):
                terminal.type(PAGE_DOWN if now * 25 < frame_number else PAGE_UP)
                terminal.read(0.3)
            terminal.until(f"film 0:{frame_number / 25:06.3f}")
            terminal.type(key)
            terminal.read(0.2)
        terminal.type("\x1b")
        terminal.until("END?")
        terminal.type("\r")
        assert terminal.wait() == 0  # nobody asks the second observer how it ended
    second = session.read(made.path.with_name("first-2.jsonl"))
    assert second.header["record_of"] == "first"
    assert second.header["observer"] == "second"
    assert second.began == made.began
    told = json.loads(etholog("agree", made.path, second.path, "--json", "--tolerance", "0.5").stdout)
    assert told["matched"] == 2
    # By the second: the touch at frame 62 of the film (2.48 s, 0.98 s of the session), the clasp from 90 to 135.
    assert [(b.code, b.onset, b.offset) for b in second.fold.bouts] == [
        ("touch", 980, 980),
        ("clasp", 2_100, 3_900),
    ]


def test_films_of_one_evening_are_watched_as_one_and_the_pause_between_is_a_gap(home: Path, tmp_path: Path) -> None:
    films = []
    for name, first, at in (("later; 2,%1%.mp4", 100, "20:57:00"), ("early.mp4", 0, "20:56:00")):
        made = ("-metadata", f"creation_time=2026-03-05T{at}Z")
        films.append(str(numbered(tmp_path / name, 4, first=first, more=made)))
    words = ("watch", "--male", "M-Flint", "--female", "F-Sepia", "--film", *films)
    with Terminal(*words, cwd=tmp_path, columns=100, MPV_HOME=str(home)) as terminal:
        terminal.until("PAUSED")
        terminal.type("4")
        terminal.until("introduced 0:00:00")
        terminal.type("d")
        terminal.until("palpal drumming began")
        terminal.type(UP + " ")
        terminal.until("0:01:01  ")
        terminal.type(" ")
        here = float(terminal.until("PAUSED").split("film 0:")[1][:6])
        terminal.type("t")
        terminal.until("she threatens began")
        terminal.end_and_leave()
    read = session.read(the_file(tmp_path))
    assert [(gap.onset, gap.offset) for gap in read.fold.gaps] == [(4_000, 60_000)]
    introduced, drumming, later = read.fold.bouts
    assert (introduced.onset, drumming.onset, drumming.offset) == (0, 0, 4_000)  # nobody saw how it went on
    # The second file begins 4 s after the first on what is played, a minute after it on the clock.
    assert later.onset == round((60 + here - 4) * 1000)
    assert [(clip.path.name, clip.begins) for clip in clips_of(read)] == [
        ("early.mp4", 0.0),
        ("later; 2,%1%.mp4", 60_000.0),
    ]


def test_a_killed_record_goes_on_where_it_was(home: Path, tmp_path: Path) -> None:
    film = numbered(tmp_path / "film.mp4", 20)
    words = ("watch", "--male", "M-Onyx", "--female", "F-Rust", "--film", str(film))
    with Terminal(*words, cwd=tmp_path, columns=100, MPV_HOME=str(home)) as terminal:
        terminal.until("PAUSED")
        for _ in range(5):
            terminal.type(PAGE_DOWN)
            terminal.read(0.2)
        terminal.until("film 0:00.200")
        terminal.type("4")
        terminal.until("introduced 0:00:00")
        terminal.kill(9)
        assert terminal.wait() == -9
    with Terminal("resume", str(the_file(tmp_path)), cwd=tmp_path, columns=100, MPV_HOME=str(home)) as terminal:
        terminal.until("film 0:00.200")
        terminal.type("d")
        terminal.until("palpal drumming began")
        terminal.kill(15)
        assert terminal.wait() == 143
    read = session.read(the_file(tmp_path))
    assert [(r["code"], r["t"]) for r in read.records if r["do"] == "mark"] == [("introduced", 200), ("drumming", 200)]
    assert not read.findings
    until(lambda: not left_over(film))


def left_over(film: Path) -> list[int]:
    """Return the processes of mpv that still show a film."""
    found = []
    for process in Path("/proc").glob("[0-9]*"):
        try:
            line = (process / "cmdline").read_bytes()
        except OSError:
            continue
        if b"mpv\0" in line and os.fsencode(film) in line:
            found.append(int(process.name))
    return found


def test_without_a_screen_it_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    need("mpv")
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("MPV_HOME", str(tmp_path))
    (tmp_path / "mpv.conf").write_text("vo=x11\nao=null\n")
    with pytest.raises(Refusal, match=r"can.t show it here"):
        Mpv([(numbered(tmp_path / "film.mp4", 2), 2.0)], 0.0, lambda _: None)
