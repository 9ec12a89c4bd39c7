"""Films that are cut by real ffmpeg: every frame is decoded and must be the one in the cut list."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from bisect import bisect_right
from collections.abc import Callable, Sequence
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from subprocess import CompletedProcess
from typing import Any

import pytest

from etholog import session
from etholog.base import atomic
from etholog.film.alignment import Clip, keep
from etholog.film.source import probe
from tests.film.making import HEIGHT, WIDTH, ffmpeg, frames_per_s, numbered, numbers, probed, recorded, state
from tests.make import unmeasured

pytestmark = pytest.mark.slow

Run = Callable[..., CompletedProcess[str]]
CHOICE = ("--before", "1", "--after", "1", "--join", "2")


def filmed(folder: Path, *films: Path, rate: str | None = None) -> Path:
    """A session of 30 s with three things to keep, and films of it that follow each other."""
    made = recorded(
        folder,
        *state("walking", 2_000, 4_000),
        *state("drumming", 4_013, 6_000),
        *state("clasp", 14_300, 18_000),
        *state("insertion", 15_000, 17_000, qualifier="left"),
        ("mark", 25_555, {"code": "touch"}),
        end=30_000,
    )
    clips, begins = [], 0.0
    for film in films:
        found = probe(film)
        per_s = Fraction(rate) if rate else found.rate
        clips.append(Clip(film, found.seconds, per_s, begins, 0.0, "one sync mark", ((begins, 0.0),)))
        begins += found.seconds * 1000
    keep(made, clips)
    return made.path


def wanted(etholog: Run, path: Path, *words: str) -> dict[str, Any]:
    done = etholog("film", "cuts", path, "--json", *CHOICE, *words)
    assert done.returncode == 0, done.stderr
    listed: dict[str, Any] = json.loads(done.stdout)
    return listed


def frames_of(listed: dict[str, Any], offsets: Sequence[int] = (0,)) -> list[int]:
    """Return the numbers that the frames of the cut film must carry."""
    return [
        offsets[cut["clip"]] + frame
        for cut in listed["cuts"]
        for frame in range(cut["first"], cut["end"], cut["speed"])
    ]


@pytest.mark.parametrize(("name", "rate"), [("film.mp4", "25"), ("film.mkv", "30000/1001"), ("film.mov", "15")])
def test_exact_cuts_are_exact_to_the_frame(tmp_path: Path, etholog: Run, name: str, rate: str) -> None:
    path = filmed(tmp_path, numbered(tmp_path / name, 30, rate))
    out = tmp_path / "out.mp4"
    done = etholog("film", "make", path, *CHOICE, "-o", out)
    assert done.returncode == 0, done.stderr
    assert "3 cuts exact to the frame, re-encoded" in done.stderr
    assert "0.3 s" in done.stderr
    listed = wanted(etholog, path)
    assert len(listed["cuts"]) == 3
    assert numbers(out) == frames_of(listed)
    assert frames_per_s(out) == Fraction(rate)
    seconds = float(listed["frames"] / Fraction(rate))
    told = probed(out, "-select_streams", "v:0", "-show_entries", "stream=start_time,duration")
    assert [float(t) for t in told] == [0.0, pytest.approx(seconds, abs=1e-5)]
    sound = probed(out, "-select_streams", "a:0", "-show_entries", "stream=duration")
    assert float(sound[0]) == pytest.approx(seconds, abs=0.03)  # AAC ends with a frame of 1024 samples


def test_chapters_and_captions_are_inside(tmp_path: Path, etholog: Run) -> None:
    path = filmed(tmp_path, numbered(tmp_path / "film.mp4", 30))
    for name, codec in (("out.mp4", "mov_text"), ("out.mkv", "subrip")):
        out = tmp_path / name
        assert etholog("film", "make", path, *CHOICE, "-o", out).returncode == 0
        told = probed(out, "-select_streams", "s:0", "-show_entries", "stream=codec_name")
        assert told == [codec]
        # Seen with mpv: of Matroska's captions it shows by itself those that are the default.
        assert probed(out, "-select_streams", "s:0", "-show_entries", "stream_disposition=default") == ["1"]
        captions = ffmpeg("-i", f"file:{out}", "-map", "0:s:0", "-f", "srt", "-").decode().replace("\r", "")
        # Two at once stand in one, on lines of their own: MP4 shows one at a time.
        assert re.findall(r"(\d\d,\d{3}) --> 00:00:(\d\d,\d{3})\n(.*?)\n\n", captions + "\n", re.S) == [
            ("00,000", "01,000", "Male: walks."),
            ("01,000", "01,520", "Male: walks.\nMale: palpal drumming."),
            ("01,520", "03,000", "Male: palpal drumming."),
            ("05,000", "05,720", "Clasp."),
            ("05,720", "07,720", "Clasp.\nMale: insertion, left."),
            ("07,720", "08,720", "Clasp."),
            ("10,720", "11,760", "Touch."),
        ]
        shown = subprocess.run(
            ["ffprobe", "-v", "error", "-show_chapters", "-of", "json", out], capture_output=True, check=True
        ).stdout
        chapters = json.loads(shown)["chapters"]
        assert [chapter["tags"]["title"] for chapter in chapters] == ["Courtship", "Copulation", "Contact"]
        assert float(chapters[0]["start_time"]) == 0
        assert probed(out, "-show_entries", "format_tags=comment") == [
            "aligned by one sync mark: right within about 0.3 s"
        ]


def test_captions_inside_are_words_and_no_markup(tmp_path: Path, etholog: Run) -> None:
    path = filmed(tmp_path, numbered(tmp_path / "film.mp4", 30))
    (tmp_path / "words.toml").write_text(
        "captions.walking = '{\\an8}{\\b1}he <font color=red>walks</font> --> \\N & <i>on</i>'\n"
        "captions.drumming = 'a\\nb\\hc'\ncaptions.touch = '{touch}'\n"
    )
    for name in ("out.mp4", "out.mkv"):
        done = etholog("film", "make", path, *CHOICE, "--words", tmp_path / "words.toml", "-o", tmp_path / name)
        assert done.returncode == 0, done.stderr
        # As players show it: ASS, in which a brace or a backslash of ours would act.
        told = ffmpeg("-i", f"file:{tmp_path / name}", "-map", "0:s:0", "-f", "ass", "-").decode()
        shown = [line.split(",,0,0,0,,", 1)[1].strip() for line in told.splitlines() if line.startswith("Dialogue")]
        assert shown[0] == "❴⧵an8❵❴⧵b1❵he ‹font color=red›walks‹/font› --› ⧵N & ‹i›on‹/i›"
        assert (shown[2], shown[-1]) == ("a⧵nb⧵hc", "❴touch❵")


def test_waits_are_speeded_up_frame_by_frame(tmp_path: Path, etholog: Run) -> None:
    path = filmed(tmp_path, numbered(tmp_path / "film.mp4", 30))
    out = tmp_path / "out.mkv"
    done = etholog("film", "make", path, *CHOICE, "--waits", "5", "-o", out)
    assert done.returncode == 0, done.stderr
    listed = wanted(etholog, path, "--waits", "5")
    assert [cut["speed"] for cut in listed["cuts"]] == [1, 5, 1, 5, 1]
    assert numbers(out) == frames_of(listed)


def test_files_of_one_recording_are_cut_as_one(tmp_path: Path, etholog: Run) -> None:
    films = (numbered(tmp_path / "a.mp4", 15), numbered(tmp_path / "b.mp4", 15, first=375, sound=False))
    path = filmed(tmp_path, *films)
    out = tmp_path / "out.mp4"
    assert etholog("film", "make", path, *CHOICE, "-o", out).returncode == 0
    listed = wanted(etholog, path)
    assert [cut["clip"] for cut in listed["cuts"]] == [0, 0, 1, 1]
    # The session runs over the joint without a break, and so does the film.
    assert numbers(out) == frames_of(listed, (0, 375))


def test_a_camcorders_transport_stream_is_cut_exactly_too(tmp_path: Path, etholog: Run) -> None:
    film = numbered(tmp_path / "film.ts", 30)
    path = filmed(tmp_path, film)
    out = tmp_path / "out.mp4"
    assert etholog("film", "make", path, *CHOICE, "-o", out).returncode == 0
    made = numbers(out)
    # Film time counts from the container's start; the picture may begin some frames after the sound.
    begins = float(probed(film, "-select_streams", "v:0", "-show_entries", "stream=start_time")[0])
    late = round((begins - probe(film).start) * 25)
    assert made == [number - late for number in frames_of(wanted(etholog, path))]
    done = etholog("film", "make", path, *CHOICE, "--quick", "-o", tmp_path / "quick.mp4")
    assert (done.returncode, "leave --quick out" in done.stderr) == (2, True)


def test_uneven_film_shows_what_was_on_screen_at_each_time(tmp_path: Path, etholog: Run) -> None:
    # As a phone in the dark: some frames stay for a tenth of a second and more.
    film = numbered(
        tmp_path / "film.mp4", 30, sound=False, more=["-fps_mode", "vfr", "-enc_time_base", "1/90000", "-bf", "0"]
    )
    uneven = tmp_path / "uneven.mp4"
    dropped = "eq(mod(n,7),3)+eq(mod(n,11),5)+between(mod(n,60),20,24)"
    ffmpeg("-i", f"file:{film}", "-vf", f"select='not({dropped})'", "-fps_mode", "vfr", f"file:{uneven}")
    assert not probe(uneven).even
    path = filmed(tmp_path, uneven, rate="25")
    out = tmp_path / "out.mp4"
    assert etholog("film", "make", path, *CHOICE, "-o", out).returncode == 0
    there = [n for n in range(750) if not (n % 7 == 3 or n % 11 == 5 or 20 <= n % 60 <= 24)]
    assert numbers(uneven) == there
    assert numbers(out) == [max(n for n in there if n <= frame) for frame in frames_of(wanted(etholog, path))]


def test_a_film_with_pauses_in_its_times_is_not_called_exact(tmp_path: Path, etholog: Run) -> None:
    film = numbered(tmp_path / "film.mkv", 30, sound=False)
    paused = tmp_path / "paused.mkv"
    ffmpeg(
        "-i", f"file:{film}", "-vf", "setpts=PTS+floor(N/100)*6*0.04/TB", "-fps_mode", "passthrough", f"file:{paused}"
    )
    times = probed(paused, "-select_streams", "v:0", "-show_entries", "packet=pts_time")
    steps = {round(float(b) - float(a), 2) for a, b in pairwise(sorted(times, key=float))}
    assert (probe(paused).even, steps) == (True, {0.04, 0.28})  # as its header says, and as its frames are
    done = etholog("film", "make", filmed(tmp_path, paused), *CHOICE, "-o", tmp_path / "out.mp4")
    assert (done.returncode, "right to half a frame, since its frames come unevenly" in done.stderr) == (0, True)


def test_a_rotated_film_stands_upright(tmp_path: Path, etholog: Run) -> None:
    plain = numbered(tmp_path / "plain.mp4", 30)
    film = tmp_path / "film.mp4"
    ffmpeg("-i", f"file:{plain}", "-c", "copy", "-metadata:s:v", "rotate=90", f"file:{film}")
    path = filmed(tmp_path, film)
    out = tmp_path / "out.mp4"
    assert etholog("film", "make", path, *CHOICE, "-o", out).returncode == 0
    assert probed(out, "-select_streams", "v:0", "-show_entries", "stream=width,height") == [str(HEIGHT), str(WIDTH)]
    lying, standing = tmp_path / "lying.mkv", tmp_path / "standing.mp4"
    done = etholog("film", "make", path, *CHOICE, "--quick", "-o", lying)
    assert (done.returncode, "turned can't be copied into .mkv" in done.stderr, lying.exists()) == (2, True, False)
    assert etholog("film", "make", path, *CHOICE, "--quick", "-o", standing).returncode == 0
    assert probe(standing).turned == probe(film).turned != 0
    back = tmp_path / "back.mp4"
    turns = {"plain": probed(film, "-show_entries", "stream_side_data=rotation")}
    ffmpeg("-i", f"file:{out}", "-vf", f"transpose={'cclock' if '-90' in turns['plain'] else 'clock'}", f"file:{back}")
    assert numbers(back) == frames_of(wanted(etholog, path))


def test_films_that_are_turned_otherwise_are_not_joined_as_they_are(tmp_path: Path, etholog: Run) -> None:
    first, second = numbered(tmp_path / "a.mp4", 15), numbered(tmp_path / "second.mp4", 15, first=375)
    ffmpeg("-i", f"file:{second}", "-c", "copy", "-metadata:s:v", "rotate=180", f"file:{tmp_path / 'b.mp4'}")
    path = filmed(tmp_path, first, tmp_path / "b.mp4")
    done = etholog("film", "make", path, *CHOICE, "--quick", "-o", tmp_path / "out.mp4")
    assert (done.returncode, "how they are turned" in done.stderr) == (2, True)


def test_films_of_other_shapes_keep_theirs(tmp_path: Path, etholog: Run) -> None:
    # The first has pixels that are wider than high, as old camcorders made them; the second is higher than wide.
    wide = numbered(tmp_path / "a.mp4", 15, more=["-aspect", "64:27"])
    high = tmp_path / "b.mp4"
    second = numbered(tmp_path / "second.mp4", 15, first=375)
    ffmpeg("-i", f"file:{second}", "-vf", f"pad={WIDTH}:{WIDTH * 2}", f"file:{high}")
    path = filmed(tmp_path, wide, high)
    out = tmp_path / "out.mp4"
    assert etholog("film", "make", path, *CHOICE, "-o", out).returncode == 0
    told = probed(out, "-select_streams", "v:0", "-show_entries", "stream=width,height,sample_aspect_ratio")
    size = [round(WIDTH * 4 / 3 / 2 - 0.5) * 2, HEIGHT]
    assert told == [*map(str, size), "1:1"]
    listed = wanted(etholog, path)
    split = sum(cut["end"] - cut["first"] for cut in listed["cuts"] if cut["clip"] == 0)
    back = tmp_path / "back.mp4"
    ffmpeg("-i", f"file:{out}", "-vf", f"scale={WIDTH}:{HEIGHT}", f"file:{back}")
    assert numbers(back)[:split] == frames_of(listed, (0, 375))[:split]
    # Half as wide as high, it stands in the middle, and its squares are much smaller.
    ffmpeg("-i", f"file:{out}", "-vf", f"crop={HEIGHT // 2}:{HEIGHT},scale={WIDTH}:{2 * WIDTH}", f"file:{back}")
    assert numbers(back)[split:] == frames_of(listed, (0, 375))[split:]


@pytest.mark.parametrize(
    ("name", "codec", "remedy"),
    [
        ("film.webm", "libvpx", "film.webm: pictures of its kind can't be copied: leave --quick out"),
        ("film.mkv", "ffv1", "out.mp4: no .mp4 holds copied pictures of this kind: name an .mkv, or leave --quick out"),
    ],
)
def test_pictures_that_no_copy_can_hold_are_told_in_a_line(
    tmp_path: Path, etholog: Run, name: str, codec: str, remedy: str
) -> None:
    path = filmed(tmp_path, numbered(tmp_path / name, 30, sound=False, more=("-c:v", codec)))
    done = etholog("film", "make", path, *CHOICE, "--quick", "-o", tmp_path / "out.mp4")
    assert (done.returncode, done.stderr.count("\n")) == (2, 1), done.stderr
    assert done.stderr.endswith(f"{remedy}\n")
    assert not (tmp_path / "out.mp4").exists()


@pytest.mark.parametrize("name", ["film.mp4", "film.mkv"])
def test_quick_cuts_copy_whole_groups_of_pictures(tmp_path: Path, etholog: Run, name: str) -> None:
    film = numbered(tmp_path / name, 30)  # a key frame each 50 frames
    path = filmed(tmp_path, film)
    out = tmp_path / "out.mp4"
    done = etholog("film", "make", path, *CHOICE, "--quick", "-o", out)
    assert done.returncode == 0, done.stderr
    assert "copied from key frame to key frame" in done.stderr
    wide: list[list[int]] = []
    for cut in wanted(etholog, path)["cuts"]:
        first, end = cut["first"] // 50 * 50, min(-(-cut["end"] // 50) * 50, 750)
        if wide and first <= wide[-1][1]:
            wide[-1][1] = end
        else:
            wide.append([first, end])
    assert numbers(out) == [frame for first, end in wide for frame in range(first, end)]
    told = probed(out, "-select_streams", "v:0", "-show_entries", "stream=start_time,nb_frames")
    assert told == ["0.000000", str(sum(end - first for first, end in wide))]
    # Copied means copied: the pictures are the same, to the byte, as those of the source.
    assert set(checksums(out)) <= set(checksums(film))


def checksums(film: Path) -> list[str]:
    listed = ffmpeg("-i", f"file:{film}", "-map", "0:v:0", "-f", "framemd5", "-").decode()
    return [line.rsplit(",", 1)[1].strip() for line in listed.splitlines() if not line.startswith("#")]


def test_burned_captions_and_the_strip_come_with_their_frames(tmp_path: Path, etholog: Run) -> None:
    path = filmed(tmp_path, numbered(tmp_path / "film.mp4", 30))
    plain, drawn = tmp_path / "plain.mkv", tmp_path / "drawn.mkv"
    assert etholog("film", "make", path, *CHOICE, "--no-captions", "-o", plain).returncode == 0
    assert etholog("film", "make", path, *CHOICE, "--burn", "--strip", "-o", drawn).returncode == 0
    assert numbers(drawn) == frames_of(wanted(etholog, path))
    height = int(probed(drawn, "-select_streams", "v:0", "-show_entries", "stream=height")[0])
    assert height > HEIGHT + 50
    # The middle of the row of captions differs from the plain film while a caption is on, and only then.
    band = "crop=60:34:98:108,format=gray"
    words = ("-vf", band, "-fps_mode", "passthrough", "-f", "rawvideo", "-")
    raw = [ffmpeg("-i", f"file:{film}", *words) for film in (plain, drawn)]
    size = 60 * 34
    assert len(raw[0]) == len(raw[1])
    cues = json.loads(etholog("film", "captions", path, "--cut", "--json", *CHOICE).stdout)["cues"]
    for frame in range(len(raw[0]) // size):
        pairs = zip(*(one[frame * size : (frame + 1) * size] for one in raw), strict=True)
        # White letters with black edges against coding noise of a few grey levels.
        loud = sum(abs(a - b) > 60 for a, b in pairs)
        on = any(round(cue["from_s"] * 25) <= frame < round(cue["to_s"] * 25) for cue in cues)
        assert (loud > 40) == on, (frame, loud)


def test_a_burned_caption_without_spaces_is_broken_and_one_from_the_right_ends_at_the_left(
    tmp_path: Path, etholog: Run
) -> None:
    black = tmp_path / "black.mp4"
    ffmpeg("-f", "lavfi", "-i", f"color=black:rate=25:size={WIDTH}x{HEIGHT}:duration=30", f"file:{black}")
    path = filmed(tmp_path, black)

    def drawn_in(words: str) -> dict[int, int]:
        """The columns of the first caption in which anything is drawn, each with how many pixels of it are light."""
        (tmp_path / "words.toml").write_text(f'[captions]\nwalking = "{words}"\n', encoding="utf-8")
        options = (*CHOICE, "--keep", "walking", "--burn", "--words", tmp_path / "words.toml")
        drawn = tmp_path / f"{len(words)}.mkv"
        assert etholog("film", "make", path, *options, "-o", drawn).returncode == 0
        one = ("-ss", "1.5", "-i", f"file:{drawn}", "-frames:v", "1", "-f", "rawvideo", "-pix_fmt", "gray", "-")
        picture = ffmpeg(*one)
        lit = {at: sum(pixel > 100 for pixel in picture[at::WIDTH]) for at in range(WIDTH)}
        return {at: count for at, count in lit.items() if count}

    wide = list(drawn_in("雄" * 40))  # a font that lacks the letter draws as wide a box
    assert 15 < wide[0] < wide[-1] < WIDTH - 15
    # Unicode Standard Annex 9: stops that end a sentence in Arabic letters stand left of them. Alefs are tall.
    _, *columns, _ = drawn_in("ااااا.....").values()
    middle = len(columns) // 2
    assert max(columns[:middle]) < max(columns[middle:]) // 2, columns


def test_mute_takes_the_sound_away(tmp_path: Path, etholog: Run) -> None:
    path = filmed(tmp_path, numbered(tmp_path / "film.mp4", 30))
    for words in ((), ("--quick",)):
        out = tmp_path / f"mute{len(words)}.mp4"
        assert etholog("film", "make", path, *CHOICE, "--mute", *words, "-o", out).returncode == 0
        assert "audio" not in probed(out, "-show_entries", "stream=codec_type")


@pytest.mark.parametrize("name", ["out.mkv", "out.mp4"])
@pytest.mark.parametrize("words", [(), ("--quick",)])
def test_sound_stays_with_its_pictures(tmp_path: Path, etholog: Run, words: tuple[str, ...], name: str) -> None:
    # A tone for each tenth second of film: after the cuts it is silent and loud where it was.
    silent = numbered(tmp_path / "silent.mp4", 30, sound=False)
    film = tmp_path / "film.mp4"
    ffmpeg(
        "-i", f"file:{silent}", "-f", "lavfi", "-i", "aevalsrc='sin(880*PI*t)*lt(mod(t\\,2)\\,0.5)':d=30:s=48000",
        "-c:v", "copy", "-shortest", f"file:{film}",
    )  # fmt: skip
    path = filmed(tmp_path, film)
    out = tmp_path / name
    assert etholog("film", "make", path, *CHOICE, *words, "-o", out).returncode == 0
    raw = ffmpeg("-i", f"file:{out}", "-map", "0:a:0", "-ac", "1", "-ar", "48000", "-f", "s16le", "-")
    samples = memoryview(raw).cast("h")
    for at, frame in enumerate(numbers(out)):
        since = frame / 25 % 2
        if any(abs(since - edge) < 0.1 for edge in (0, 0.5, 2)):
            continue  # AAC smears an edge
        loud = max(map(abs, samples[at * 1920 : (at + 1) * 1920])) > 5000
        assert loud == (since < 0.5), (at, frame)


def sounds_from(folder: Path, begins: int) -> Path:
    """A film of 30 s whose sound begins later."""
    silent, film = numbered(folder / "silent.mp4", 30, sound=False), folder / "film.mp4"
    ffmpeg(
        "-i", f"file:{silent}", "-itsoffset", str(begins), "-f", "lavfi", "-i", f"sine=frequency=880:d={30 - begins}",
        "-map", "0:v", "-map", "1:a", "-c:v", "copy", f"file:{film}",
    )  # fmt: skip
    return film


@pytest.mark.parametrize("name", ["out.mkv", "out.mp4"])
def test_sound_that_begins_late_is_copied_late(tmp_path: Path, etholog: Run, name: str) -> None:
    film, begins = sounds_from(tmp_path, 3), 3
    out = tmp_path / name
    done = etholog("film", "make", filmed(tmp_path, film), *CHOICE, "--quick", "-o", out)
    assert (done.returncode, "encoded" in done.stderr) == (0, False), done.stderr
    raw = ffmpeg(
        "-i", f"file:{out}", "-map", "0:a:0", "-af", "aresample=async=1:first_pts=0", "-ac", "1", "-ar", "48000",
        "-f", "s16le", "-",
    )  # fmt: skip
    samples = memoryview(raw).cast("h")
    for at, frame in enumerate(numbers(out)[:-5]):
        if abs(frame / 25 - begins) > 0.1:
            assert (max(map(abs, samples[at * 1920 : (at + 1) * 1920])) > 1000) == (frame / 25 > begins), (at, frame)


def test_a_cut_without_sound_can_not_be_copied_and_a_line_says_so(tmp_path: Path, etholog: Run) -> None:
    path = filmed(tmp_path, sounds_from(tmp_path, 12))
    done = etholog("film", "make", path, *CHOICE, "--quick", "-o", tmp_path / "out.mp4")
    assert (done.returncode, "has no sound from 2.0 to 8.0 s" in done.stderr) == (2, True), done.stderr
    assert len(done.stderr.splitlines()) == 1 and not (tmp_path / "out.mp4").exists()
    assert etholog("film", "make", path, *CHOICE, "--quick", "--mute", "-o", tmp_path / "out.mp4").returncode == 0


@pytest.mark.parametrize("name", ["film.mp4", "film.mkv"])
def test_a_film_whose_end_is_missing_lasts_as_long_as_its_pictures(tmp_path: Path, etholog: Run, name: str) -> None:
    whole = tmp_path / f"whole-{name}"
    ffmpeg("-i", f"file:{numbered(tmp_path / 'a.mp4', 30)}", "-c", "copy", "-movflags", "+faststart", f"file:{whole}")
    film = tmp_path / name
    film.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    path, out = filmed(tmp_path, film), tmp_path / "out.mp4"
    assert 10 < probe(film).seconds < 20
    done = etholog("film", "align", path, film, "--seen", "walking=0:02")
    assert (done.returncode, "it says that it lasts 30.0 s" in done.stderr) == (1, True), done.stderr
    assert etholog("film", "make", path, *CHOICE, "-o", out).returncode == 0
    assert len(numbers(out)) == sum(cut["end"] - cut["first"] for cut in wanted(etholog, path)["cuts"])


@pytest.mark.parametrize("name", ["film.mp4", "film.mkv", "film.avi", "film.ts"])
def test_a_film_that_broke_off_is_cut_exactly_up_to_there(tmp_path: Path, etholog: Run, name: str) -> None:
    whole = tmp_path / f"whole-{name}"
    # H.264's pictures come in another order than they are shown; cameras' AVI is MPEG-4, which ffmpeg writes there.
    made = numbered(tmp_path / ("a.avi" if name.endswith("avi") else "a.mp4"), 30, more=["-g", "250"])
    ffmpeg("-i", f"file:{made}", "-c", "copy", "-movflags", "+faststart", f"file:{whole}")
    assert probe(whole).indexed == (name != "film.ts")
    film = tmp_path / name
    film.write_bytes(whole.read_bytes()[: whole.stat().st_size * 6 // 10])
    path, out = filmed(tmp_path, film), tmp_path / "out.mp4"
    done = etholog("film", "make", path, *CHOICE, "-o", out)
    assert (done.returncode, "exact to the frame" in done.stderr) == (0, True), done.stderr
    start, there = probe(film).start, probe(film).seconds * 25 - 16
    told = probed(whole, "-select_streams", "v:0", "-show_entries", "packet=pts_time")
    shown = [round((float(time) - start) * 25) for time in sorted(told, key=float)]  # the frame at which each is shown
    on_screen = [bisect_right(shown, frame) - 1 for frame in frames_of(wanted(etholog, path))]
    assert there > 350
    assert [n for n in numbers(out) if n < there] == [n for n in on_screen if n < there]


def test_a_film_of_key_frames_alone_is_copied(tmp_path: Path, etholog: Run) -> None:
    film = numbered(tmp_path / "film.avi", 30, more=["-c:v", "mjpeg", "-q:v", "5"])  # as older cameras write it
    assert probe(film).indexed
    out = tmp_path / "out.mkv"
    done = etholog("film", "make", filmed(tmp_path, film), *CHOICE, "--quick", "-o", out)
    assert done.returncode == 0, done.stderr


def packets(film: Path) -> set[str]:
    listed = ffmpeg("-i", f"file:{film}", "-map", "0:a:0", "-c", "copy", "-f", "framehash", "-").decode()
    return {line.rsplit(",", 1)[1].strip() for line in listed.splitlines() if not line.startswith("#")}


def test_quick_cuts_copy_the_sound_too_or_say_why_not(tmp_path: Path, etholog: Run) -> None:
    film = numbered(tmp_path / "film.mp4", 30)
    done = etholog("film", "make", filmed(tmp_path, film), *CHOICE, "--quick", "-o", tmp_path / "out.mp4")
    assert (done.returncode, "sound is encoded" in done.stderr) == (0, False)
    assert len(packets(tmp_path / "out.mp4")) > 100
    assert packets(tmp_path / "out.mp4") <= packets(film)
    (tmp_path / "other").mkdir()
    other = tmp_path / "other" / "film.mkv"
    ffmpeg("-i", f"file:{film}", "-c:v", "copy", "-c:a", "flac", f"file:{other}")
    done = etholog("film", "make", filmed(tmp_path / "other", other), *CHOICE, "--quick", "-o", tmp_path / "two.mp4")
    assert (done.returncode, "the sound is encoded, which takes longer: its sound is flac" in done.stderr) == (0, True)


# Options, quotes, patterns, protocols, the signs of filters and of turned writing.
HOSTILE = ("-y.mp4", "a'b;%d$(touch x)|c.mp4", "http:x [0:v]\u202e ä.mp4")


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_are_only_names(tmp_path: Path, etholog: Run, name: str) -> None:
    film = tmp_path / name
    film.write_bytes(numbered(tmp_path / "film.mp4", 30).read_bytes())
    (tmp_path / "film.mp4").unlink()
    path, before = filmed(tmp_path, film), film.read_bytes()
    (tmp_path / "out").mkdir()
    done = etholog("film", "make", path, *CHOICE, "--quick", "--mute", f"-o=out/{name}", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert sorted(file.name for file in tmp_path.iterdir()) == sorted([name, "a-session.jsonl", "out"])
    assert [file.name for file in (tmp_path / "out").iterdir()] == [name]
    assert film.read_bytes() == before


def test_what_is_there_stays_as_it_is(tmp_path: Path, etholog: Run) -> None:
    film = numbered(tmp_path / "film.mp4", 30)
    path, before = filmed(tmp_path, film), film.read_bytes()
    for words, what in (
        (["-o", film], "is there already"),
        (["-o", tmp_path / "out.avi"], "one of the endings"),
        (["-o", tmp_path / "nowhere" / "out.mp4"], "can't be written"),
        (["-o", tmp_path / "out.mp4", "--quick", "--strip"], "can't be drawn into"),
        (["-o", tmp_path / "out.mp4", "--quick", "--waits", "4"], "leave --waits, --hurry or --quick out"),
    ):
        done = etholog("film", "make", path, *CHOICE, *words)
        assert (done.returncode, what in done.stderr, "Traceback" in done.stderr) == (2, True, False), done.stderr
    film.rename(tmp_path / "gone.bak")
    done = etholog("film", "make", path, *CHOICE, "-o", tmp_path / "out.mp4")
    assert (done.returncode, "is not there" in done.stderr) == (2, True)
    numbered(film, 20)
    done = etholog("film", "make", path, *CHOICE, "-o", tmp_path / "out.mp4")
    assert (done.returncode, "another length" in done.stderr) == (2, True)
    assert (tmp_path / "gone.bak").read_bytes() == before
    assert not (tmp_path / "out.mp4").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="there are no such signals there")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_an_interrupt_leaves_nothing_behind(tmp_path: Path, number: signal.Signals) -> None:
    film = numbered(tmp_path / "film.mp4", 30)
    path = filmed(tmp_path, film)
    before = sorted(tmp_path.iterdir())
    child = subprocess.Popen(
        [sys.executable, "-m", "etholog", "film", "make", path, "--waits", "2", "--strip", "-o", tmp_path / "out.mp4"],
        stderr=subprocess.PIPE,
        text=True,
        # A shell that runs the tests in the background has them, and us, ignore it.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    deadline = time.monotonic() + 60
    while not any(tmp_path.glob(".out-*/*.mov")) and time.monotonic() < deadline:
        time.sleep(0.01)
    os.kill(child.pid, number)
    _, told = child.communicate(timeout=240)
    assert child.returncode == 130
    assert "Traceback" not in told
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.skipif(sys.platform == "win32", reason="there is no such signal there")
def test_what_a_killed_process_left_is_removed_and_what_runs_is_not(tmp_path: Path, etholog: Run) -> None:
    path = filmed(tmp_path, numbered(tmp_path / "film.mp4", 30))
    before = sorted(tmp_path.iterdir())
    asked = [sys.executable, "-m", "etholog", "film", "make", str(path), "--waits", "2", "--strip", "-o"]
    with atomic.workroom(tmp_path / "runs.mp4") as running:
        child = subprocess.Popen([*asked, str(tmp_path / "out.mp4")], stderr=subprocess.DEVNULL)
        deadline = time.monotonic() + 60
        while not any(tmp_path.glob(".out-*/*.mov")) and time.monotonic() < deadline:
            time.sleep(0.01)
        child.kill()
        child.wait()
        assert any(tmp_path.glob(".out-*/*.mov"))
        assert etholog("film", "make", path, *CHOICE, "--quick", "-o", tmp_path / "other.mp4").returncode == 0
        assert sorted(tmp_path.iterdir()) == sorted([*before, tmp_path / "other.mp4", running])
    assert not running.exists()


def test_a_full_disk_is_told_in_words(tmp_path: Path, etholog: Run) -> None:
    path = filmed(tmp_path, numbered(tmp_path / "film.mp4", 30))
    before = sorted(tmp_path.iterdir())
    words = ["film", "make", str(path), "-o", str(tmp_path / "out.mp4")]
    script = (
        "import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, 40_000))\n"
        "import signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        f"from etholog.commands import main; sys.exit(main({words!r}))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False, env=unmeasured())
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert "kbits" not in done.stderr  # how far it was is no reason
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize("words", [(), ("--quick",)])
def test_a_disk_that_is_really_full_is_one_clear_line(tmp_path: Path, words: tuple[str, ...]) -> None:
    path = filmed(tmp_path, numbered(tmp_path / "film.mp4", 30))
    small = tmp_path / "small"
    small.mkdir()
    asked = [sys.executable, "-m", "etholog", "film", "make", path, *CHOICE, *words, "-o", small / "out.mp4"]
    within = ["unshare", "-rm", "sh", "-c", f'mount -t tmpfs -o size=100k tmpfs "{small}" && exec "$@"', "sh"]
    if subprocess.run([*within, "true"], capture_output=True, check=False).returncode:
        pytest.skip("NO NAMESPACES HERE: a disk that is really full is not tried")
    done = subprocess.run([*within, *map(str, asked)], capture_output=True, text=True, check=False, env=unmeasured())
    what = f"{small / 'out.mp4'}: can't be written (No space left on device); make room or choose another folder"
    assert (done.returncode, done.stderr.splitlines()) == (2, [what])


def test_the_packages_own_ffmpeg_serves_where_the_system_has_none(tmp_path: Path) -> None:
    pytest.importorskip("imageio_ffmpeg")
    path = filmed(tmp_path, numbered(tmp_path / "film.mp4", 30))
    out = tmp_path / "out.mp4"
    done = subprocess.run(
        [sys.executable, "-m", "etholog", "film", "make", path, *CHOICE, "--burn", "--strip", "-o", out],
        capture_output=True, text=True, check=False, env={**os.environ, "PATH": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    listed = session.read(path)
    assert listed.fold.bouts
    assert numbers(out)[:3] == [75, 76, 77]  # 4.013 s less 1 s is on frame 75
