"""Film clock against session clock. The films' own frames say what is right."""

import json
import re
from collections.abc import Callable
from functools import partial
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import session
from etholog.film import alignment
from etholog.film.source import exact, probe
from tests.film.making import event, ffmpeg, numbered, numbers, probed, recorded, state

pytestmark = pytest.mark.slow

COURTED = (("sync", 1_000, {}), event("on_silk", 6_000), *state("drumming", 8_000, 12_000))
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


def test_a_film_that_was_aligned_while_it_was_written_is_said_to_have_grown(tmp_path: Path, etholog: Run) -> None:
    whole, film = numbered(tmp_path / "whole.ts", 30), tmp_path / "film.ts"
    film.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    made = recorded(tmp_path, *COURTED, end=25_000, ethogram="terrestrial")
    assert etholog("film", "align", made.path, film, "--seen", "1").returncode == 0
    cuts = partial(etholog, "film", "cuts", made.path)
    assert "has changed" not in cuts().stderr
    film.write_bytes(whole.read_bytes())
    assert "film.ts has changed since it was aligned; of it only the first" in cuts().stderr
    assert etholog("film", "align", made.path, film, "--seen", "1").returncode == 0
    assert "has changed" not in cuts().stderr


def test_what_is_replaced_is_said_and_what_is_forgotten_is_gone(tmp_path: Path, etholog: Run) -> None:
    films = [numbered(tmp_path / "a.mp4", 2), numbered(tmp_path / "b.mp4", 3)]
    made = recorded(tmp_path, ("sync", 1_000, {}), end=12_000)
    align = partial(etholog, "film", "align", made.path)
    assert "replaces" not in align(films[0], "--seen", "0.5").stderr
    again = align(films[0], "--seen", "1")
    assert "replaces a.mp4, aligned by one sync mark, which began at 0.500 s" in again.stderr
    assert align(films[1], "--seen", "1").returncode == 0
    gone = align("b.mp4", "--forget")
    assert (gone.returncode, "taken off: b.mp4" in gone.stderr) == (0, True)
    assert [clip.path for clip in alignment.clips_of(session.read(made.path))] == [films[0]]
    assert align("--forget").returncode == 0
    assert alignment.clips_of(session.read(made.path)) == []
    assert "has no film to forget" in align("--forget").stderr
    assert films[0].is_file() and films[1].is_file()
    assert not session.read(made.path).findings


def test_a_behaviour_that_is_marked_once_serves_as_a_clap(tmp_path: Path, etholog: Run) -> None:
    film = numbered(tmp_path / "film.mp4", 4)
    marks = (event("introduced", 1_000), event("touch", 2_000), event("touch", 2_500))
    made = recorded(tmp_path, *marks, end=3_000)
    done = etholog("film", "align", made.path, film, "--seen", "introduced=0:01.5")
    assert done.returncode == 0, done.stderr
    (clip,) = alignment.clips_of(session.read(made.path))
    assert clip.begins == -500.0
    for name, what in (("touch", "is marked 2 times"), ("clasp", "marked once are: introduced")):
        refused = etholog("film", "align", made.path, film, "--seen", f"{name}=1")
        assert (refused.returncode, what in refused.stderr) == (2, True), refused.stderr


@pytest.mark.parametrize("kept", ["terrestrial-1", "terrestrial"])  # formats 1 and 2 of sessions
def test_a_film_that_was_moved_is_found_by_what_it_holds(tmp_path: Path, etholog: Run, kept: str) -> None:
    film, other = numbered(tmp_path / "film.mp4", 30), numbered(tmp_path / "other.mp4", 20, first=9)
    (tmp_path / "sessions").mkdir()
    made = recorded(tmp_path / "sessions", *COURTED, end=25_000, ethogram=kept)
    assert etholog("film", "align", made.path, film, "--seen", "1").returncode == 0
    held = alignment.clips_of(session.read(made.path))[0].contents
    assert bool(held) == (kept == "terrestrial")
    cuts = etholog("film", "cuts", made.path, "--json")
    assert cuts.returncode == 0, cuts.stderr
    (tmp_path / "films" / "2026").mkdir(parents=True)
    moved = film.rename(tmp_path / "films" / "2026" / "evening.mp4")
    found = etholog("film", "cuts", made.path, "--json")
    assert found.returncode == 0, found.stderr
    assert f"film.mp4 is {moved} now" in found.stderr
    assert json.loads(found.stdout)["cuts"] == json.loads(cuts.stdout)["cuts"] != []
    if held:
        again = etholog("film", "align", made.path, moved)
        assert "replaces film.mp4" in again.stderr and "whose alignment stays" in again.stderr
        (clip,) = alignment.clips_of(session.read(made.path))
        assert (clip.path, clip.begins, clip.contents) == (moved, 0.0, held)
    moved.unlink()
    assert other.is_file()
    lost = etholog("film", "make", made.path, "-o", tmp_path / "out.mp4")
    assert (lost.returncode, "is not there" in lost.stderr) == (2, True)


def test_of_two_films_of_the_same_minutes_one_is_named(tmp_path: Path, etholog: Run) -> None:
    films = [numbered(tmp_path / "side.mp4", 30), numbered(tmp_path / "top.mp4", 28)]
    made = recorded(tmp_path, *COURTED, end=25_000)
    for film in films:
        done = etholog("film", "align", made.path, film, "--seen", "1")
    assert "side.mp4 and top.mp4 show the same minutes" in done.stderr
    first = etholog("film", "cuts", made.path, "--json")
    assert "--angle top.mp4 takes the other" in first.stderr
    assert {cut["clip"] for cut in json.loads(first.stdout)["cuts"]} == {0}
    second = etholog("film", "cuts", made.path, "--json", "--angle", "top.mp4")
    assert ("side.mp4" in second.stdout, "top.mp4" in second.stdout) == (False, True)
    assert "--angle" not in second.stderr
    wrong = etholog("film", "cuts", made.path, "--angle", "back.mp4")
    assert (wrong.returncode, "its films are side.mp4, top.mp4" in wrong.stderr) == (2, True)


def test_the_time_of_creation_serves_and_is_called_rough(tmp_path: Path, etholog: Run) -> None:
    film = numbered(tmp_path / "film.mp4", 2, more=["-metadata", "creation_time=2026-03-05T20:56:10Z"])
    made = recorded(tmp_path, event("touch", 11_000), end=20_000)
    done = etholog("film", "align", made.path, film)
    assert done.returncode == 0, done.stderr
    assert "rough" in done.stderr
    (clip,) = alignment.clips_of(session.read(made.path))
    assert clip.begins == 10_000.0
    assert clip.worst_error_s >= 5


def test_a_wall_clock_that_was_set_right_meanwhile_places_the_film(tmp_path: Path, etholog: Run) -> None:
    film = numbered(tmp_path / "film.mp4", 2, more=["-metadata", "creation_time=2026-03-05T21:56:10Z"])
    # It was an hour slow at the start; a time server put it forward.
    note = ("note", 5_000, {"text": "set", "wall": "2026-03-05T21:56:05.000+00:00"})
    made = recorded(tmp_path, note, event("touch", 11_000), end=20_000)
    done = etholog("film", "align", made.path, film)
    assert done.returncode == 0, done.stderr
    (clip,) = alignment.clips_of(session.read(made.path))
    assert clip.begins == 10_000.0


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (["nowhere.mp4"], "is not there"),
        (["text.mp4"], "is not a film"),
        (["film.mp4"], "does not tell when it was made"),
        (["film.mp4", "--seen", "9"], "not on the film"),
        (["film.mp4", "--seen", "3=1"], "no number 3"),
        (["film.mp4", "--seen", "soon"], "is not a time"),
        (["film.mp4", "--seen", "x=1"], "x is not marked"),
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


def evening_of_two(tmp_path: Path) -> list[Path]:
    """Two films of one evening, named later first; a minute after the first begins (which lasts 4 s), the second."""
    films = []
    for name, first, at in (("later.mp4", 100, "20:57:00"), ("early.mp4", 0, "20:56:00")):
        made = ("-metadata", f"creation_time=2026-03-05T{at}Z")
        films.append(numbered(tmp_path / name, 4, first=first, more=made))
    return films


def test_a_pause_between_two_files_is_kept(tmp_path: Path, etholog: Run) -> None:
    films = evening_of_two(tmp_path)
    made = recorded(tmp_path, ("sync", 3_000, {}), ("sync", 63_500, {}), event("touch", 62_500), end=70_000)
    align = partial(etholog, "film", "align", made.path, *films)

    def begun() -> list[tuple[str, float, str]]:
        return [(clip.path.name, clip.begins, clip.by) for clip in alignment.clips_of(session.read(made.path))]

    # The clap is seen 2.5 s after the first begins; the second follows by its time of creation, and says that.
    assert align("--seen", "2.5").returncode == 0
    assert begun() == [("early.mp4", 500.0, "one sync mark"), ("later.mp4", 60_500.0, "creation time")]
    assert align("--seen", "2=later.mp4@2.5").returncode == 0
    assert begun() == [("early.mp4", 1_000.0, "creation time"), ("later.mp4", 61_000.0, "one sync mark")]
    assert align("--seen", "1=early.mp4@2.5", "--seen", "2=63.2").returncode == 0
    assert begun() == [("early.mp4", 500.0, "one sync mark"), ("later.mp4", 60_300.0, "one sync mark")]
    # What was marked in the second file is cut from there.
    out = tmp_path / "out.mp4"
    done = etholog("film", "make", made.path, "--keep", "touch", "--before", "0", "--after", "1", "-o", out)
    assert done.returncode == 0, done.stderr
    assert numbers(out)[0] == 100 + (62_500 - 60_300) * 25 // 1000
    for words, told in (("30", "a pause between two"), ("other.mp4@1", "early.mp4"), ("early.mp4@5", "4.000 s long")):
        refused = align("--seen", words)
        assert (refused.returncode, told in refused.stderr) == (2, True), refused.stderr
