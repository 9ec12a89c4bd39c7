"""Drumming that was made, under noise, heard again: in files, by the real ffmpeg. The truth is how it was made."""

import csv
import io
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import numpy as np
import pytest

from etholog import session
from etholog.film.alignment import clips_of
from etholog.film.sound import listen, recording
from etholog.film.strokes import BAND, bursts, onsets
from tests.conftest import need
from tests.film.drumming import Drummed, drummed, wav
from tests.film.making import event, ffmpeg, recorded, state

Run = Callable[..., CompletedProcess[str]]
SECONDS = 60.0


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Drummed]]:
    sound, truth = drummed(5, SECONDS, 20.0, count=4)
    return wav(tmp_path_factory.mktemp("sound") / "contact.wav", sound), truth


def test_bursts_are_heard_with_their_strokes_and_their_rate(made: tuple[Path, list[Drummed]]) -> None:
    need("ffmpeg")
    path, truth = made
    heard = listen(recording(path), BAND, 1.0, lambda _: None)
    assert [b.strokes for b in heard.bursts] == [len(d.strokes) for d in truth]
    for burst, drum in zip(heard.bursts, truth, strict=True):
        assert burst.onset_s == pytest.approx(drum.onset, abs=0.02)
        assert burst.offset_s == pytest.approx(drum.offset, abs=0.02)
        assert burst.rate == pytest.approx(drum.rate, rel=0.03)


def test_noise_alone_is_no_drumming() -> None:
    chance = np.random.default_rng(3)
    energy = chance.chisquare(3, 200 * 600) * (1 + np.repeat(np.arange(10), 12_000))  # ten minutes, louder each
    strength = onsets(energy)
    assert 0.5 < np.quantile(strength, 0.84) < 1.6  # in spreads of chance, however loud it is
    assert bursts(np.array([1.0, 1.2, 5.0, 9.0, 9.1, 9.2]), np.full(6, 4.0)) == bursts(
        np.array([9.0, 9.1, 9.2]), np.full(3, 4.0)
    )


@pytest.mark.slow
def test_bursts_are_offered_and_the_observers_marks_stay(
    made: tuple[Path, list[Drummed]], tmp_path: Path, etholog: Run
) -> None:
    need("ffmpeg")
    path, truth = made
    # The recording began 10 s before the session, and the clap is heard 13 s into it. The second burst was marked;
    # during the third he was seen to walk, which drumming would cut; the fourth nobody watched.
    ms = [(round((d.onset - 10) * 1000), round((d.offset - 10) * 1000)) for d in truth]
    walk = ms[2][0] - 500, ms[2][1] + 500
    made_session = recorded(
        tmp_path, ("sync", 3_000, {}), *state("drumming", ms[1][0] + 100, ms[1][1] + 100), *state("walking", *walk),
        ("gap", ms[3][0] - 1_000, {"why": ""}), ("back", ms[3][1] + 1_000, {}), event("touch", 49_500), end=50_000,
    )  # fmt: skip
    before = made_session.fold
    words = ("film", "listen", made_session.path, "--sound", path)
    listed = list(csv.DictReader(io.StringIO(etholog(*words, "--seen", "13").stdout)))
    assert [int(row["strokes"]) for row in listed] == [len(d.strokes) for d in truth]
    done = etholog(*words, "--seen", "13", "--take", "drumming", input="y\ny\ny\ny\n")
    assert done.returncode == 0, done.stderr
    for reason in ("marked by the observer already", "of the same animal", "nobody watched"):
        assert f"{reason}: 1 burst" in done.stderr
    after = session.read(made_session.path)
    (new,) = set(after.fold.bouts) - set(before.bouts)
    assert set(before.bouts) <= set(after.fold.bouts)
    assert (new.code, new.onset, new.offset) == ("drumming", *(pytest.approx(t, abs=25) for t in ms[0]))
    assert any(f"from the sound: {len(truth[0].strokes)} strokes" in said.text for said in after.fold.said)
    assert not after.fold.remarks
    for refused, told in (
        ((*words,), "--seen TIME"),
        ((*words, "--seen", "13", "--take", "drum"), "drumming"),
        ((*words, "--seen", "13", "--band", "600,80"), "the lower first"),
        (("film", "listen", made_session.path), "film align"),
    ):
        done = etholog(*refused)
        assert (done.returncode, told in done.stderr.splitlines()[-1]) == (2, True), done.stderr


@pytest.mark.slow
def test_a_recordings_alignment_is_kept_and_known_again_after_a_move(
    made: tuple[Path, list[Drummed]], tmp_path: Path, etholog: Run
) -> None:
    need("ffmpeg")
    path, _ = made
    sync = ("sync", 3_000, {})
    of_now = recorded(tmp_path, sync, end=50_000, name="new", ethogram="terrestrial").path
    first = etholog("film", "listen", of_now, "--sound", path, "--seen", "13")
    assert first.returncode == 0, first.stderr
    elsewhere = tmp_path / "attic" / "renamed.wav"
    elsewhere.parent.mkdir()
    elsewhere.write_bytes(path.read_bytes())
    again = etholog("film", "listen", of_now, "--sound", elsewhere)
    assert [row.split(",")[1:] for row in again.stdout.splitlines()] == [
        row.split(",")[1:] for row in first.stdout.splitlines()
    ]
    read = session.read(of_now)
    assert clips_of(read) == []  # it is no film
    (kept,) = clips_of(read, "sound")
    assert (kept.path, kept.session_ms(13.0)) == (path, pytest.approx(3_000))
    # What is listened to anew takes its place, and it can be taken off.
    etholog("film", "listen", of_now, "--sound", elsewhere, "--seen", "14")
    (kept,) = clips_of(session.read(of_now), "sound")
    assert (kept.path, kept.session_ms(14.0)) == (elsewhere, pytest.approx(3_000))
    assert etholog("film", "align", of_now, elsewhere, "--forget").returncode == 0
    done = etholog("film", "listen", of_now, "--sound", elsewhere)
    assert (done.returncode, "--seen TIME" in done.stderr) == (2, True)
    # etholog 0.1 refuses what it does not know, so its own sessions take nothing in.
    old = recorded(tmp_path, sync, end=50_000, name="old").path
    before = old.read_bytes()
    assert "does not keep" in etholog("film", "listen", old, "--sound", path, "--seen", "13").stderr
    assert old.read_bytes() == before


@pytest.mark.slow
def test_a_films_own_sound_is_heard_at_the_films_time(
    made: tuple[Path, list[Drummed]], tmp_path: Path, etholog: Run
) -> None:
    need("ffmpeg")
    path, truth = made
    film, mute = tmp_path / "film.mkv", tmp_path / "mute.mp4"
    picture = ("-f", "lavfi", "-i", f"color=black:size=64x48:rate=5:duration={SECONDS + 5}")
    # Its sound begins five seconds after its pictures.
    ffmpeg(*picture, "-itsoffset", "5", "-i", str(path), "-c:a", "flac", str(film))
    ffmpeg(*picture, str(mute))
    trace = tmp_path / "trace.svg"
    done = etholog("film", "listen", film, "--trace", trace)
    listed = list(csv.DictReader(io.StringIO(done.stdout)))
    starts = [sum(float(part) * 60**at for at, part in enumerate(row["from"].split(":")[::-1])) for row in listed]
    assert starts == pytest.approx([d.onset + 5 for d in truth], abs=0.05)
    assert "not who it was" in done.stderr
    assert b"<svg" in trace.read_bytes()
    assert "has no sound" in etholog("film", "listen", mute).stderr
