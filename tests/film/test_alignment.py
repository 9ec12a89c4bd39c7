"""Film clock against session clock. The films' own frames say what is right."""

import re
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import session
from etholog.film import alignment
from etholog.film.source import exact, probe
from tests.film.making import event, ffmpeg, numbered, numbers, probed, recorded

pytestmark = pytest.mark.slow

Run = Callable[..., CompletedProcess[str]]


def frame_times(film: Path) -> list[float]:
    return [float(t) for t in probed(film, "-select_streams", "v:0", "-show_entries", "frame=pts_time")]


@pytest.mark.parametrize("ppm", [400, -250])
def test_two_sync_marks_recover_the_drift_of_a_real_film(tmp_path: Path, etholog: Run, ppm: int) -> None:
    # Frame n was taken n/25 s after the camera started, by true time; the camera's clock stretches that.
    plain = numbered(tmp_path / "plain.mp4", 100, sound=False, more=["-video_track_timescale", "90000"])
    film = tmp_path / "film.mp4"
    ticks = ("-video_track_timescale", "90000")
    ffmpeg("-itsscale", str(1 + ppm / 1e6), "-i", f"file:{plain}", "-c", "copy", *ticks, f"file:{film}")
    times = frame_times(film)
    # The session began 20 s after the camera; both claps fall on a frame, so what was seen is exact.
    made = recorded(tmp_path, ("sync", 5_000, {}), ("sync", 75_000, {}), event("touch", 40_000), end=80_000)
    first, second = ((20 + t) * 25 for t in (5, 75))
    done = etholog(
        "film", "align", made.path, film, "--seen", f"1={times[first]:.6f}", "--seen", f"2={times[second]:.6f}"
    )
    assert done.returncode == 0, done.stderr
    told = re.search(r"runs ([\d.]+) ppm (fast|slow)", done.stderr)
    assert told is not None
    assert float(told[1]) * (1 if told[2] == "fast" else -1) == pytest.approx(ppm, abs=0.4)
    (clip,) = alignment.clips_of(session.read(made.path))
    # 90 kHz film clock: a tick at either end of 70 s is 0.16 ppm each.
    assert clip.ppm == pytest.approx(ppm, abs=0.35)
    touched = (20 + 40) * 25
    assert clip.film_s(40_000) == pytest.approx(times[touched], abs=0.0001)
    assert clip.session_ms(clip.film_s(40_000)) == pytest.approx(40_000, abs=1e-6)


def test_a_closed_session_takes_its_alignment_and_nothing_else_changes(tmp_path: Path, etholog: Run) -> None:
    film = numbered(tmp_path / "film.mp4", 4)
    made = recorded(tmp_path, ("sync", 1_000, {}), event("touch", 2_000), end=3_000)
    before = made.path.read_bytes()
    done = etholog("film", "align", made.path, film, "--seen", "0:01.5")
    assert done.returncode == 0, done.stderr
    assert "one sync mark: right within about 0.3 s" in done.stderr
    after = session.read(made.path)
    assert made.path.read_bytes().startswith(before)
    assert after.fold == made.fold
    assert not after.findings
    (clip,) = alignment.clips_of(after)
    assert (clip.begins, clip.ppm, clip.seconds) == (-500.0, 0.0, 4.0)
    assert clip.path == film


def test_the_last_alignment_of_a_file_counts_and_other_files_stay(tmp_path: Path, etholog: Run) -> None:
    films = [numbered(tmp_path / name, 2) for name in ("a.mp4", "b.mp4")]
    made = recorded(tmp_path, ("sync", 1_000, {}), ("sync", 9_000, {}), end=12_000)
    for words in ((films[0], "--seen", "1=0.5"), (films[1], "--seen", "2=1"), (films[0], "--seen", "1=1")):
        assert etholog("film", "align", made.path, *words).returncode == 0
    clips = alignment.clips_of(session.read(made.path))
    assert [(clip.path.name, clip.begins) for clip in clips] == [("a.mp4", 0.0), ("b.mp4", 8_000.0)]


def test_files_of_one_recording_are_one_film(tmp_path: Path, etholog: Run) -> None:
    films = [numbered(tmp_path / "a.mp4", 2), numbered(tmp_path / "b.mp4", 3, first=50)]
    made = recorded(tmp_path, ("sync", 3_000, {}), end=5_000)
    assert etholog("film", "align", made.path, *films, "--seen", "2.5").returncode == 0
    clips = alignment.clips_of(session.read(made.path))
    assert [clip.begins for clip in clips] == [500.0, 2_500.0]


def test_the_time_of_creation_serves_and_is_called_rough(tmp_path: Path, etholog: Run) -> None:
    film = numbered(tmp_path / "film.mp4", 2, more=["-metadata", "creation_time=2026-03-05T20:56:10Z"])
    made = recorded(tmp_path, event("touch", 11_000), end=20_000)
    done = etholog("film", "align", made.path, film)
    assert done.returncode == 0, done.stderr
    assert "rough" in done.stderr
    (clip,) = alignment.clips_of(session.read(made.path))
    assert clip.begins == 10_000.0
    assert clip.worst_error_s >= 5


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (["nowhere.mp4"], "is not there"),
        (["text.mp4"], "is not a film"),
        (["film.mp4"], "does not tell when it was made"),
        (["film.mp4", "--seen", "9"], "not on the film"),
        (["film.mp4", "--seen", "3=1"], "no number 3"),
        (["film.mp4", "--seen", "soon"], "is not a time"),
        (["film.mp4", "--seen", "x=1"], "N=TIME"),
        (["film.mp4", "--seen", "1", "--seen", "1=1.5"], "twice"),
        (["film.mp4", "--seen", "1=0.1", "--seen", "2=1.9"], "wrong one"),
    ],
)
def test_what_cannot_be_is_refused_in_words(tmp_path: Path, etholog: Run, words: list[str], what: str) -> None:
    numbered(tmp_path / "film.mp4", 2)
    (tmp_path / "text.mp4").write_text("no film")
    made = recorded(tmp_path, ("sync", 500, {}), ("sync", 1_000, {}), end=2_000)
    before = made.path.read_bytes()
    done = etholog("film", "align", made.path, *words, cwd=tmp_path)
    assert (done.returncode, made.path.read_bytes()) == (2, before)
    assert what in done.stderr
    assert "Traceback" not in done.stderr


def test_a_film_is_probed_as_ffprobe_sees_it(tmp_path: Path) -> None:
    for name, rate in (("a.mp4", "25"), ("b.mkv", "30000/1001"), ("c.mp4", "15"), ("d.mp4", "24000/1001")):
        film = numbered(tmp_path / name, 2, rate, sound=name != "c.mp4")
        found = probe(film)
        told = probed(film, "-select_streams", "v:0", "-show_entries", "stream=r_frame_rate")[0]
        assert str(found.rate) == told.removesuffix("/1"), name
        assert found.even
        assert found.sound == (name != "c.mp4")
        assert found.seconds == pytest.approx(len(numbers(film)) / found.rate, abs=0.004)  # Matroska counts ms


def test_rotated_and_uneven_film_is_seen_as_such(tmp_path: Path) -> None:
    upright = numbered(tmp_path / "upright.mp4", 2)
    turned = tmp_path / "turned.mp4"
    ffmpeg("-i", f"file:{upright}", "-c", "copy", "-metadata:s:v", "rotate=90", f"file:{turned}")
    assert (probe(turned).width, probe(turned).height) == (144, 256)
    uneven = numbered(
        tmp_path / "uneven.mp4", 4, sound=False, more=["-fps_mode", "vfr", "-filter:v", "select='mod(n\\,7)'"]
    )
    assert not probe(uneven).even


def test_names_that_look_like_something_else_are_only_files(tmp_path: Path, etholog: Run) -> None:
    made = recorded(tmp_path, ("sync", 500, {}), end=2_000)
    plain = numbered(tmp_path / "plain.mp4", 2).read_bytes()
    for name in ("-y.mp4", "a'b;%d$(touch x)|c.mp4", "http:x.mp4"):
        (tmp_path / name).write_bytes(plain)
        done = etholog("film", "align", "--seen", "1", made.path, "--", name, cwd=tmp_path)
        assert done.returncode == 0, done.stderr
    assert len(alignment.clips_of(session.read(made.path))) == 3
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize("rate", ["24", "25", "30", "50", "60", "24000/1001", "30000/1001", "60000/1001", "15", "25/2"])
def test_rates_rounded_to_two_digits_are_known_again(rate: str) -> None:
    from fractions import Fraction

    assert exact(float(f"{float(Fraction(rate)):.2f}")) == Fraction(rate)
