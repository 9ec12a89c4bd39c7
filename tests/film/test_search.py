"""Searching real files by the real ffmpeg, and what follows from it: cuts, watching, a search that goes on."""

import csv
import io
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import numpy as np
import pytest

from etholog import session
from etholog.base.refusal import Refusal
from etholog.film.activity import Area, key_seconds
from etholog.film.search import beside, known, search
from etholog.film.source import probe
from etholog.film.stretches import DISTURBED, REASONS, Trace, found
from tests.conftest import need
from tests.film.enclosure import Movement, Scene, film
from tests.film.making import event, ffmpeg, probed, recorded
from tests.screens.terminal import Terminal

pytestmark = pytest.mark.slow
Run = Callable[..., CompletedProcess[str]]

# A minute and a half of 320 x 180: walks of 2 % and a shake of 1.5 % of the width, which no noise here hides.
MOVES = (Movement("walk", 20.0, 2.0, 0.02, 0), Movement("shake", 60.0, 2.0, 0.015, 1, 5.3))
SCENE = Scene(90.0, 8.0, 320, 180, 4.0, 200, movements=MOVES, length=24.0, seed=5)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return film(tmp_path_factory.mktemp("films") / "evening.mp4", SCENE)


@pytest.fixture
def evening(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy2(made, tmp_path / "evening.mp4"))


def nothing(_: float) -> None:
    pass


def rows(done: CompletedProcess[str]) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(done.stdout)))


def test_each_movement_lies_in_a_stretch_and_most_of_the_rest_in_none(evening: Path) -> None:
    held = search(probe(evening), Area(), None, nothing)
    spans = found(held.trace, held.shape)
    assert held.findings == ()
    for move in MOVES:
        assert sum(max(0.0, min(s.offset_s, move.offset) - max(s.onset_s, move.onset)) for s in spans) >= 1.0
    assert len(spans) == 2
    assert sum(s.offset_s - s.onset_s for s in spans) < 0.15 * SCENE.seconds
    # The first spider lives left of the middle, the second right of it.
    assert spans[0].x < 0.5 < spans[1].x
    assert all(s.why != REASONS[DISTURBED] for s in spans)


def test_an_area_and_a_mask_search_only_there(evening: Path, tmp_path: Path) -> None:
    held = search(probe(evening), Area(0.5, 0.0, 0.5, 1.0), None, nothing)
    assert [round(s.peak_s / 20) for s in found(held.trace, held.shape)] == [3]
    mask = tmp_path / "mask.png"
    ffmpeg("-f", "lavfi", "-i", "color=black:size=64x36,drawbox=0:0:32:36:white:fill", "-frames:v", "1", str(mask))
    held = search(probe(evening), Area(), mask, nothing)
    assert [round(s.peak_s / 20) for s in found(held.trace, held.shape)] == [1]
    with pytest.raises(Refusal, match="is not there"):
        search(probe(evening), Area(), tmp_path / "none.png", nothing)


def test_a_second_search_costs_nothing_and_another_film_is_searched_anew(
    evening: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = probe(evening)
    first = search(source, Area(), None, nothing)
    with monkeypatch.context() as without:
        without.setattr("etholog.film.ffmpeg.program", lambda: "no-ffmpeg-is-needed")
        again = search(source, Area(), None, nothing)
    assert np.array_equal(first.trace.slow, again.trace.slow)
    with pytest.raises(FileNotFoundError), monkeypatch.context() as without:
        without.setattr("etholog.film.ffmpeg.program", lambda: "no-ffmpeg-is-needed")
        os.utime(evening)
        search(source, Area(), None, nothing)


def test_a_search_that_was_broken_off_goes_on_where_it_was(evening: Path) -> None:
    source = probe(evening)
    whole = search(source, Area(), None, nothing).trace
    with np.load(beside(evening)) as held:
        kept = {name: held[name] for name in held.files}
    part = {name: values[:240] if values.ndim else values for name, values in kept.items()}
    np.savez(beside(evening), **(part | {"whole": np.array(False)}))
    shares: list[float] = []
    on = search(source, Area(), None, shares.append).trace
    assert len(on) == len(whole)
    assert np.array_equal(on.quick[:240], whole.quick[:240])
    assert [s.why for s in found(on, (18, 32))] == [s.why for s in found(whole, (18, 32))]


def test_a_damaged_trace_is_made_anew(evening: Path) -> None:
    beside(evening).write_bytes(b"PK\x03\x04 no archive")
    assert len(search(probe(evening), Area(), None, nothing).trace) == 90 * 4


def test_key_frames_are_those_that_ffprobe_lists(evening: Path) -> None:
    listed = probed(
        evening, "-select_streams", "v:0", "-skip_frame", "nokey", "-show_entries", "frame=pts_time", "-of", "csv=p=0"
    )
    assert key_seconds(probe(evening)) == pytest.approx(
        [float(line.split(",")[0]) for line in listed if line], abs=0.01
    )


def test_the_command_prints_the_stretches_and_says_that_stillness_is_no_absence(
    evening: Path, tmp_path: Path, etholog: Run
) -> None:
    sheet, trace = tmp_path / "sheet.png", tmp_path / "trace.svg"
    done = etholog("film", "search", evening, "--sheet", sheet, "--trace", trace)
    assert done.returncode == 0
    assert [row["why"] for row in rows(done)] == ["slow movement", "quick movement"]
    assert "Stillness is not absence" in done.stderr
    assert "Nothing was deleted" in done.stderr
    assert "0:00:00  " in done.stderr
    assert sheet.read_bytes().startswith(b"\x89PNG")
    assert b"<svg" in trace.read_bytes()
    told = json.loads(etholog("film", "search", evening, "--json").stdout)
    assert len(told["stretches"]) == 2
    assert "Stillness" in told["note"]


def test_films_of_one_evening_are_one(evening: Path, tmp_path: Path, etholog: Run) -> None:
    for name, at in (("b", "2026-03-05T21:00:00Z"), ("a", "2026-03-05T21:02:00Z")):
        words = ("-i", str(evening), "-c", "copy", "-metadata", f"creation_time={at}", str(tmp_path / f"{name}.mp4"))
        ffmpeg(*words)
    listed = rows(etholog("film", "search", tmp_path / "a.mp4", tmp_path / "b.mp4"))
    assert [row["film"] for row in listed] == ["b.mp4", "b.mp4", "a.mp4", "a.mp4"]
    assert [row["at"][:4] for row in listed] == ["0:00", "0:00", "0:02", "0:02"]


def test_a_preview_meets_what_walks_and_says_that_it_misses_much(evening: Path, tmp_path: Path, etholog: Run) -> None:
    keyed = tmp_path / "keyed.mp4"
    ffmpeg("-i", str(evening), "-g", "16", "-preset", "ultrafast", str(keyed))
    done = etholog("film", "search", keyed, "--preview")
    assert done.returncode == 0, done.stderr
    told = [float(row["from"][-5:]) for row in rows(done)]
    assert any(18 <= onset_s <= 22 for onset_s in told)
    assert len(told) <= 4
    assert "Search the film before you rely on it" in done.stderr
    assert not beside(keyed).exists()
    assert "too few for a preview" in etholog("film", "search", evening, "--preview").stderr


def test_hardware_that_is_not_there_changes_nothing(evening: Path) -> None:
    one = search(probe(evening), Area(), None, nothing, hardware=True).trace
    beside(evening).unlink()
    other = search(probe(evening), Area(), None, nothing).trace
    assert np.array_equal(one.quick, other.quick)


def test_what_is_no_film_is_refused_in_one_line(tmp_path: Path, evening: Path, etholog: Run) -> None:
    text, sound = tmp_path / "text.mp4", tmp_path / "sound.wav"
    text.write_text("no film")
    ffmpeg("-f", "lavfi", "-i", "sine=duration=1", str(sound))
    for path in (text, sound, tmp_path / "none.mp4"):
        done = etholog("film", "search", path)
        assert (done.returncode, len(done.stderr.splitlines())) == (2, 1), done.stderr
        assert path.name in done.stderr
    for words in (("--area", "1,2"), ("--area", "0.5,0,0.9,1"), ("--more", "0"), ("--sheet", "a.doc")):
        done = etholog("film", "search", evening, *words)
        assert (done.returncode, len(done.stderr.splitlines())) == (2, 1), done.stderr


def test_a_film_cut_off_in_mid_packet_is_searched_as_far_as_it_goes(
    evening: Path, tmp_path: Path, etholog: Run
) -> None:
    torn = tmp_path / "torn.mkv"
    ffmpeg("-i", str(evening), "-c", "copy", str(torn))
    torn.write_bytes(torn.read_bytes()[: torn.stat().st_size // 2])
    done = etholog("film", "search", torn)
    assert done.returncode in (0, 1)
    assert [row["why"] for row in rows(done)] == ["slow movement"]
    assert "Traceback" not in done.stderr


def test_a_reader_that_stops_ends_ffmpeg_with_a_full_pipe() -> None:
    script = (
        "import time; from contextlib import closing; from etholog.film import ffmpeg\n"
        "words = ['-f', 'lavfi', '-i', 'testsrc=size=640x480', '-f', 'rawvideo', '-']\n"
        "with closing(ffmpeg.piped(words, 1000)) as pieces: next(pieces); time.sleep(1)\n"
    )
    subprocess.run([sys.executable, "-c", script], check=True, timeout=240)


@pytest.mark.skipif(sys.platform == "win32", reason="there is no such signal there")
def test_ctrl_c_leaves_nothing_half(evening: Path, tmp_path: Path) -> None:
    long = tmp_path / "long.mp4"
    ffmpeg("-stream_loop", "19", "-i", str(evening), "-c", "copy", str(long))
    words = [sys.executable, "-m", "etholog", "film", "search", str(long)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as child:
        time.sleep(3)
        child.send_signal(signal.SIGINT)
        _, told = child.communicate(timeout=240)
    assert b"Traceback" not in told
    assert not list(tmp_path.glob(".*part*"))
    if beside(long).exists():
        with np.load(beside(long)) as held:
            assert len(held["quick"]) % 4 == 0


def test_a_film_without_a_session_is_cut_by_its_stretches(evening: Path, tmp_path: Path, etholog: Run) -> None:
    out, edl = tmp_path / "out.mp4", tmp_path / "cuts.edl"
    done = etholog("film", "make", evening, "--before", "1", "--after", "1", "--hurry", "10", "-o", out)
    assert done.returncode == 0, done.stderr
    assert "Stillness is not absence" in done.stderr
    chapters = probed(out, "-show_chapters", "-show_entries", "chapter_tags=title")
    assert [title.partition(",")[0] for title in chapters if "movement" in title] == ["slow movement", "quick movement"]
    length = float(probed(out, "-show_entries", "format=duration")[0])
    assert 8 < length < 22  # two stretches with a second on either side, and the forty between in four
    assert etholog("film", "cuts", evening, "-o", edl).returncode == 0
    assert "* COMMENT: SLOW MOVEMENT" in edl.read_text()


def test_the_report_shows_what_was_searched_and_searches_nothing(evening: Path, tmp_path: Path, etholog: Run) -> None:
    page = tmp_path / "page.html"
    made = recorded(tmp_path, ("sync", 3_000, {}), event("touch", 40_000), end=85_000)
    assert etholog("film", "align", made.path, evening, "--seen", "8").returncode == 0
    assert etholog("report", made.path, "-o", page).returncode == 0
    assert "What moves on the film?" not in page.read_text()
    assert not beside(evening).exists()
    stretches = rows(etholog("film", "search", evening))
    assert etholog("report", made.path, "-o", page).returncode == 0
    told = page.read_text()
    assert "What moves on the film?" in told
    assert "Something moves in 2 stretches" in told
    assert "Stillness is not absence" in told
    for row in stretches:  # the session began five seconds into the film
        film_s = float(row["from"].split(":")[-1]) - 5
        assert f"0:00:{int(film_s):02d}" in told
    renamed = evening.with_name("renamed.mp4")
    beside(evening).rename(beside(renamed))
    evening.rename(renamed)
    assert etholog("report", made.path, "-o", page).returncode == 0
    assert "Something moves in 2 stretches" in page.read_text()
    os.utime(renamed)
    assert known(renamed) is None


@pytest.mark.skipif(sys.platform == "win32", reason="there are no ptys there")
def test_what_is_skipped_between_stretches_is_a_gap(evening: Path, tmp_path: Path) -> None:
    need("mpv")
    home = tmp_path / "mpv"
    home.mkdir()
    (home / "mpv.conf").write_text("vo=null\nao=null\n")
    words = ("watch", "--male", "M-Flint", "--female", "F-Sepia", "--film", str(evening), "--stretches")
    with Terminal(*words, cwd=tmp_path, columns=100, MPV_HOME=str(home)) as terminal:
        terminal.until("film 0:1")  # some seconds before the walk at 20 s
        terminal.type("4")
        terminal.until("introduced")
        terminal.type("\x1b[6~")
        terminal.until("stretch 2 of 2")
        terminal.until("film 0:5")
        terminal.type("d")
        terminal.until("palpal drumming began")
        terminal.type("\x1b[6~")
        terminal.until("last stretch")
        terminal.end_and_leave()
    (file,) = (tmp_path / "sessions").glob("*.jsonl")
    read = session.read(file)
    introduced, drumming = (r["t"] for r in read.records if r["do"] == "mark")
    assert 15_000 < introduced < 20_000
    assert 55_000 < drumming < 60_500
    gaps = [(gap.onset, gap.offset) for gap in read.fold.gaps]
    assert len(gaps) == 2
    assert gaps[0][0] == 0
    assert gaps[0][1] <= introduced <= gaps[1][0] < gaps[1][1] <= drumming
    assert not read.fold.remarks


def test_a_trace_is_small(evening: Path) -> None:
    trace = search(probe(evening), Area(), None, nothing).trace
    bytes_s = sum(getattr(trace, name).nbytes for name in Trace.__dataclass_fields__) / SCENE.seconds
    assert bytes_s * 6 * 3600 < 2**21  # two MiB for six hours
