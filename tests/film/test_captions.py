"""Captions and chapters, read by Chromium's WebVTT parser, by ffmpeg, and over the frames of a playing film."""

import json
import re
import subprocess
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import ethogram, session
from etholog.base.refusal import Refusal
from etholog.film import captions, subtitles
from etholog.film.alignment import Clip, keep
from etholog.film.captions import Cue, Words
from etholog.film.cuts import Cut, CutList, whole
from etholog.session import Session
from etholog.session.folding import Bout
from tests.film.browser import player
from tests.film.making import BITS, SQUARE, event, numbered, recorded, state
from tests.make import terrestrial_1

pytestmark = pytest.mark.slow

Run = Callable[..., CompletedProcess[str]]
TERRESTRIAL = terrestrial_1()
JOINED = "\N{SPIDER}\N{VARIATION SELECTOR-16}\N{ZERO WIDTH JOINER}\N{FIRE} a\N{ZERO WIDTH JOINER}b"
HOSTILE = [
    "a --> b",
    "<b>bold</b>",
    "x & y &lt; z",
    "line\nbreak\r\n\r\nNOTE no",
    "<00:01.000>",
    "\u202ereversed",
    "{\\an8}",
    "é ♂",
    JOINED,
]


def clip(seconds: float, rate: str = "25", begins: float = 0.0, path: Path = Path("/films/film.mp4")) -> Clip:
    return Clip(path, seconds, Fraction(rate), begins, 0.0, "one sync mark", ((begins, 0.0),))


def bout(code: str, onset_s: float, offset_s: float, qualifier: str | None = None, sure: bool = True) -> Bout:
    return Bout(1, code, qualifier, round(onset_s * 1000), round(offset_s * 1000), True, sure)


def test_sentences_come_from_the_labels() -> None:
    said = [
        captions.sentence(one, TERRESTRIAL, Words())
        for one in (
            bout("drumming", 0, 1),
            bout("raises", 0, 1),
            bout("clasp", 0, 1, sure=False),
            bout("insertion", 0, 1, "left"),
            bout("introduced", 0, 0),
        )
    ]
    assert said == [
        "Male: palpal drumming.",
        "She raises.",
        "Clasp. (unsure)",
        "Male: insertion, left.",
        "Introduced.",
    ]


def test_times_go_through_the_cuts() -> None:
    # Frames 100 to 200 and 300 to 400 are kept, the second at four times its speed.
    cuts = CutList((clip(60),), Fraction(25), (Cut(0, 100, 200), Cut(0, 300, 400, 4)))
    found = captions.captions(
        [bout("walking", 0, 5), bout("drumming", 5, 13), bout("clasp", 20, 30)], TERRESTRIAL, cuts, Words()
    )
    # Drumming is on frames 125 to 325: of the cut film 25 to 100, and 100 to 107 (the 7 first of each fourth).
    assert [(c.first, c.end, c.text) for c in found] == [
        (0, 38, "Male: walks."),  # 25 frames, stretched so that it can be read for 1.5 s
        (25, 107, "Male: palpal drumming."),
    ]


@pytest.mark.parametrize("rate", ["25", "30000/1001"])
def test_a_browsers_parser_reads_every_cue_back(rate: str) -> None:
    cues = [Cue(10 * n, 10 * n + 35, text) for n, text in enumerate(HOSTILE)]
    cues += [Cue(24 * 3600 * 30, 24 * 3600 * 30 + 5, "after a day")]
    with player() as chromium:
        for kind in ("captions", "chapters"):
            found = chromium.load(subtitles.webvtt(cues, Fraction(rate)), kind=kind)
            assert [text for _, _, text in found] == [
                "a --> b", "<b>bold</b>", "x & y &lt; z", "line\nbreak\nNOTE no", "<00:01.000>",
                "\\u202ereversed", "{\\an8}", "é ♂", JOINED.replace("a\u200d", "a\\u200d"), "after a day",
            ]  # fmt: skip
            for (start, end, _), cue in zip(found, cues, strict=True):
                assert 0 <= float(cue.first / Fraction(rate)) - start < 0.001
                assert 0 <= float(cue.end / Fraction(rate)) - end < 0.001


@pytest.mark.parametrize(("rate", "name"), [("25", "film.mp4"), ("30000/1001", "film.webm")])
def test_captions_come_and_go_with_their_frames_in_a_browser(
    tmp_path: Path, etholog: Run, rate: str, name: str
) -> None:
    per_s = Fraction(rate)
    more = ["-c:v", "libvpx", "-b:v", "1M", "-deadline", "realtime"] if name.endswith("webm") else []
    film = numbered(tmp_path / name, 6, rate, sound=False, more=more)
    made = recorded(
        tmp_path,
        ("sync", 1_000, {}),
        *state("drumming", 2_000, 3_900),
        event("touch", 4_013),
        end=6_000,
    )
    assert etholog("film", "align", made.path, film, "--seen", "1.0").returncode == 0
    done = etholog("film", "captions", made.path, "-o", tmp_path / "c.vtt")
    assert done.returncode == 0, done.stderr
    # Worked out from the marks alone: a caption is on from the frame that shows its onset to the one of its offset.
    assert "\nNOTE aligned by one sync mark: right within about 0.3 s\n" in (tmp_path / "c.vtt").read_text()
    on = {
        "Male: palpal drumming.": (int(2 * per_s), int(Fraction(39, 10) * per_s)),
        "Touch.": (int(Fraction(4013, 1000) * per_s), None),
    }
    with player() as chromium:
        chromium.load((tmp_path / "c.vtt").read_text(), film)
        for text, (first, end) in on.items():
            for frame in (first - 1, first, *((end - 1, end) if end else ())):
                number, shown = chromium.at(float((frame + Fraction(1, 2)) / per_s), BITS, SQUARE)
                assert number == frame
                assert (text in shown) == (first <= frame and (end is None or frame < end)), (text, frame)


def test_subrip_is_what_ffmpeg_reads(tmp_path: Path) -> None:
    cues = [Cue(40 * n, 40 * n + 35, text) for n, text in enumerate(HOSTILE)]
    (tmp_path / "c.srt").write_bytes(subtitles.subrip(cues, Fraction(25)).encode())
    read = subprocess.run(
        ["ffmpeg", "-v", "error", "-i", tmp_path / "c.srt", "-f", "webvtt", "-"], capture_output=True, check=True
    ).stdout.decode()
    blocks = read.strip().split("\n\n")[1:]
    assert [block.split("\n", 1)[1] for block in blocks] == [
        "a --› b", "‹b›bold‹/b›", "x & y &lt; z", "line\nbreak\nNOTE no", "‹00:01.000›", "⧵u202ereversed",
        "❴⧵an8❵", "é ♂", JOINED.replace("a\u200d", "a⧵u200d"),
    ]  # fmt: skip


def test_what_overlaps_can_be_told_one_at_a_time() -> None:
    found = captions.one_at_a_time([Cue(0, 10, "a"), Cue(4, 6, "b"), Cue(10, 12, "a"), Cue(20, 21, "c")])
    assert found == [Cue(0, 4, "a"), Cue(4, 6, "a\nb"), Cue(6, 12, "a"), Cue(20, 21, "c")]


def test_chapters_are_the_stages_that_last() -> None:
    bouts = [
        bout("introduced", 8, 8),
        bout("drumming", 124, 160),
        bout("touch", 175, 175),
        bout("clasp", 179, 356),
        bout("palp_probing", 183, 189),
        bout("insertion", 189, 205, "left"),
        bout("palp_probing", 206, 211),  # 5 s of it make no chapter
        bout("insertion", 211, 246, "right"),
        bout("still", 358, 479),  # of no stage
    ]
    found = captions.chapters(bouts, TERRESTRIAL, whole([clip(480)]), Words())
    assert [(c.first / 25, c.end / 25, c.text) for c in found] == [
        (0, 124, "Search"),
        (124, 175, "Courtship"),
        (175, 189, "Contact"),
        (189, 480, "Copulation"),
    ]
    # Cut to 100 to 130 s and 200 to 210 s, contact has no frame left, and no chapter.
    cuts = CutList((clip(480),), Fraction(25), (Cut(0, 2500, 3250), Cut(0, 5000, 5250)))
    found = captions.chapters(bouts, TERRESTRIAL, cuts, Words())
    assert [(c.first, c.end, c.text) for c in found] == [
        (0, 600, "Search"),
        (600, 750, "Courtship"),
        (750, 1000, "Copulation"),
    ]


def test_ffmetadata_is_read_by_ffprobe_to_the_millisecond(tmp_path: Path) -> None:
    film = numbered(tmp_path / "film.mp4", 4, sound=False)
    cues = [Cue(0, 30, "a=b;c#d\\e"), Cue(30, 100, "[CHAPTER]")]
    (tmp_path / "c.ffmeta").write_text(subtitles.ffmetadata(cues, Fraction(25)))
    out = tmp_path / "out.mkv"
    subprocess.run(
        ["ffmpeg", "-v", "error", "-i", film, "-i", tmp_path / "c.ffmeta", "-map_chapters", "1", "-c", "copy", out],
        check=True,
    )
    told = subprocess.run(
        ["ffprobe", "-v", "error", "-show_chapters", "-of", "json", out], capture_output=True, check=True
    ).stdout
    read = [(float(c["start_time"]), float(c["end_time"]), c["tags"]["title"]) for c in json.loads(told)["chapters"]]
    assert read == [(0.0, 1.2, "a=b;c#d\\e"), (1.2, 4.0, "[CHAPTER]")]


def filmed(folder: Path) -> Session:
    made = recorded(
        folder,
        *state("drumming", 100_000, 110_000),
        *state("insertion", 300_000, 309_000, qualifier="left"),
        *state("insertion", 320_000, 322_000, qualifier="right"),
        end=600_000,
    )
    keep(made, [clip(600, path=folder / "film.mp4")])
    return session.read(made.path)


def test_a_language_file_replaces_the_words(tmp_path: Path, etholog: Run) -> None:
    made = filmed(tmp_path)
    words = tmp_path / "de.toml"
    words.write_text(
        '[captions]\ndrumming = "Er trommelt mit den Tastern."\ninsertion = "Taster eingeführt."\n'
        '"insertion:left" = "Linker Taster eingeführt."\n[chapters]\ncourtship = "Balz"\n',
        encoding="utf-8",
    )
    done = etholog("film", "captions", made.path, "--words", words, "-o", tmp_path / "c.vtt")
    assert done.returncode == 0, done.stderr
    said = re.findall(r"-->.*\n(.*)\n", (tmp_path / "c.vtt").read_text(encoding="utf-8"))
    assert said == ["Er trommelt mit den Tastern.", "Linker Taster eingeführt.", "Taster eingeführt, right."]
    done = etholog("film", "captions", made.path, "--words", words, "--chapters", "-o", tmp_path / "c.ffmeta")
    assert "title=Balz" in (tmp_path / "c.ffmeta").read_text(encoding="utf-8")
    words.write_text("[captions]\ndruming = 'x'")
    done = etholog("film", "captions", made.path, "--words", words)
    assert (done.returncode, "did you mean 'drumming'" in done.stderr) == (2, True)


def test_the_example_of_a_language_file_leaves_nothing_in_english(repository: Path) -> None:
    words = captions.read_words(repository / "examples" / "captions-german.toml", TERRESTRIAL)
    assert set(words.captions) >= set(TERRESTRIAL.by_code)
    assert set(words.chapters) == {"before", *ethogram.STAGES}


@pytest.mark.parametrize(
    ("text", "what"),
    [("[captions]\ndrumming = 3", "has no text"), ("[words]\n", "'words' is not one"), ("captions = ", "is not TOML")],
)
def test_a_bad_language_file_is_refused_in_words(tmp_path: Path, text: str, what: str) -> None:
    (tmp_path / "words.toml").write_text(text)
    with pytest.raises(Refusal, match=what):
        captions.read_words(tmp_path / "words.toml", TERRESTRIAL)


def test_captions_of_the_cut_film_fit_into_it(tmp_path: Path, etholog: Run) -> None:
    made = filmed(tmp_path)
    done = etholog("film", "captions", made.path, "--cut", "--json")
    cues = json.loads(done.stdout)["cues"]
    # Kept are 97 to 115 s and 297 to 327 s.
    assert [(c["from_s"], c["to_s"]) for c in cues] == [(3.0, 13.0), (21.0, 30.0), (41.0, 43.0)]
    assert "0.3 s" in done.stderr
