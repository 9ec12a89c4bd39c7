"""Every text that tries to get out, in every field that a text can stand in, by every way out.

To add a way out: a function from the workspace (and an empty folder to write into) to the bytes that it makes, under
WAYS with the judge of its kind. To add a field or a text: a line in `tests/hostile`.
"""

import json
import os
import pty
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import etholog
from etholog import ethogram, session
from etholog.animals import care, herd
from etholog.base.refusal import Refusal
from etholog.base.text import unsafe, visible
from etholog.export import calendar, folder, label
from etholog.film.alignment import Clip
from etholog.film.captions import Words, captions
from etholog.film.cuts import whole
from etholog.film.editlist import edl
from etholog.film.subtitles import subrip, webvtt
from etholog.recording.opening import begin
from etholog.report import page
from etholog.season import Season
from etholog.season import of as season_of
from tests.hostile import judges
from tests.hostile.fields import FIELDS, animals, workspace
from tests.hostile.texts import TEXTS
from tests.make import season_of as small_season
from tests.make import small_ethogram
from tests.screens.terminal import ETHOGRAM, Terminal

pytestmark = pytest.mark.slow

# A process that runs one command after another: starting one for each of a thousand sessions would take minutes.
RUN_ALL = """
import json, sys
from etholog.commands import main
for words in json.load(open(sys.argv[1])):
    try:
        main(words)
    except SystemExit as done:
        assert done.code in (0, 2), words
"""
PLAIN = os.environ | {"TERM": "dumb", "NO_COLOR": "1", "COLUMNS": "200", "PYTHONIOENCODING": "utf-8"}
MEASURES = (
    ("latency", "courtship", "--by", "light"),
    ("duration", "--by", "observer"),
    ("transition",),
)


def at_a_terminal(scratch: Path, *commands: tuple[str, ...]) -> bytes:
    """Return what the commands write to a real terminal, stdout and stderr together."""
    told = scratch / "commands.json"
    told.write_text(json.dumps(commands))
    master, slave = pty.openpty()
    process = subprocess.Popen([sys.executable, "-c", RUN_ALL, told], stdout=slave, stderr=slave, env=PLAIN)
    os.close(slave)
    seen = b""
    while True:
        try:
            part = os.read(master, 2**16)
        except OSError:  # how Linux says that the other end is closed
            break
        seen += part
    os.close(master)
    assert process.wait() == 0, seen[-2000:].decode(errors="replace")
    assert seen
    return seen


@cache
def piped(*words: str) -> tuple[bytes, bytes]:
    done = subprocess.run([sys.executable, "-m", "etholog", *words], capture_output=True, check=False)
    assert done.returncode in (0, 1), done.stderr
    return done.stdout, done.stderr


# ---------------------------------------------------------------- the ways out


def show_at_a_terminal(place: Path, scratch: Path) -> Iterator[bytes]:
    yield at_a_terminal(scratch, *(("show", str(file)) for file in sorted((place / "sessions").iterdir())))


def check_at_a_terminal(place: Path, scratch: Path) -> Iterator[bytes]:
    yield at_a_terminal(scratch, ("check", str(place)))


def measures_at_a_terminal(place: Path, scratch: Path) -> Iterator[bytes]:
    yield at_a_terminal(scratch, *((*words, "--folder", str(place)) for words in MEASURES))


def refusals(place: Path, scratch: Path) -> Iterator[bytes]:
    """Words typed on the command line come back in a refusal."""
    # A system hands over neither a NUL nor a megabyte, and bytes that are no UTF-8 as U+DC80 to U+DCFF.
    typed = [text for text in TEXTS.values() if not re.search("[\0\ud800-\udfff]", text) and len(text) < 90_000]
    words = [
        command
        for text in [*typed, "no UTF-8 \udcff"]
        for command in ((text,), ("show", text), ("check", text), ("agree", text, text), ("latency", f"--to={text}"))
    ]
    yield at_a_terminal(scratch, *words)


def tables_in_a_pipe(place: Path, scratch: Path) -> Iterator[bytes]:
    yield from (piped(*words, "--folder", str(place))[0] for words in MEASURES)


def words_beside_a_pipe(place: Path, scratch: Path) -> Iterator[bytes]:
    yield from (piped(*words, "--folder", str(place))[1] for words in MEASURES)


def tables_as_json(place: Path, scratch: Path) -> Iterator[bytes]:
    yield from (piped(*words, "--folder", str(place), "--json")[0] for words in MEASURES)


def exported_csv(place: Path, scratch: Path) -> Iterator[bytes]:
    written = folder.write(etholog.read(place), scratch / "tables")
    yield from (file.read_bytes() for file in written if file.suffix == ".csv")


def exported_csv_defused(place: Path, scratch: Path) -> Iterator[bytes]:
    written = folder.write(etholog.read(place), scratch / "tables", defuse=True)
    yield from (file.read_bytes() for file in written if file.suffix == ".csv")


def exported_workbook(place: Path, scratch: Path) -> Iterator[bytes]:
    folder.write(etholog.read(place), scratch / "tables", also=("xlsx",))
    yield (scratch / "tables" / "tables.xlsx").read_bytes()


def results_in_a_notebook(place: Path, scratch: Path) -> Iterator[bytes]:
    season = etholog.read(place)
    times = etholog.latency(season, "courtship")
    one = season.bouts[season.bouts["session"] == season.bouts["session"].iloc[0]]
    found: list[Any] = [season, etholog.transition(season), etholog.agreement(one, one[:1])]
    found += [etholog.compare(times, by="light", permutations=9), etholog.hazards(times, by="observer")]
    for result in found:
        shown = result._repr_html_().encode()
        assert len(shown) < 200_000
        yield shown


def figures(place: Path, scratch: Path) -> Iterator[bytes]:
    """A few texts each: drawing takes its time, and they all go through one function."""
    season = etholog.read(place)
    times = etholog.latency(season, "courtship")
    kinds = sorted({*times["observer"], TEXTS["one megabyte"]})
    for at in range(0, len(kinds), 6):
        few = times[times["observer"].isin(kinds[at : at + 3])]
        yield etholog.figures.survival(few, by="observer").content("svg")
    yield etholog.figures.survival(times[times["light"] == TEXTS["one megabyte"]], by="light").content("svg")
    yield etholog.figures.aligned(season, times[times["session"].str.startswith("01-")][::4]).content("svg")


def captions_of_film(place: Path, scratch: Path) -> Iterator[bytes]:
    clip = Clip(Path("film.mp4"), 60.0, Fraction(25), 0.0, 0.0, "watching", ((0.0, 0.0),))
    for file in (place / "sessions").iterdir():
        try:
            read = session.read(file)
        except Refusal:
            continue
        told = captions(read.fold.bouts, read.ethogram, whole([clip]), Words())
        yield webvtt(told, clip.rate).encode()
        yield subrip(told, clip.rate).encode()


def report_page(place: Path, scratch: Path) -> Iterator[bytes]:
    """Each text once and each field once: a drawing for each of all the pairs would take minutes."""
    found = []
    for number in range(len(TEXTS)):
        try:
            found.append(session.read(place / "sessions" / f"{number % len(FIELDS):02d}-{number:02d}.jsonl"))
        except Refusal:
            continue
    assert len(found) > len(TEXTS) / 2
    made = page.html(season_of(place, found), found, datetime(2026, 11, 1).date()).encode()
    assert len(made) < 2_000_000
    yield made


def cards_at_a_terminal(place: Path, scratch: Path) -> Iterator[bytes]:
    names = [name for name in animals(scratch) if "\0" not in name and len(name) < 90_000]
    where = ("--folder", str(scratch))
    on = ("--today", "2026-03-02", *where)
    asked = [("card", *where, "--", name) for name in names[::10]]
    asked += [("ready", *on, "--", "M-1", name) for name in names[::20]]
    told = [("card", *where), ("due", *on), ("outcome", *on), ("outcome", "--each", *on), ("outcome", "--signs", *on)]
    yield at_a_terminal(scratch, *told, *asked, ("check", str(scratch)))


def cards_as_a_calendar(place: Path, scratch: Path) -> Iterator[bytes]:
    animals(scratch)
    piped("due", "--today", "2026-03-02", "--ics", str(scratch / "due.ics"), "--folder", str(scratch))
    yield (scratch / "due.ics").read_bytes()
    # As on that day itself, when nothing is overdue and all events ring.
    tasks = care.due(herd.read(scratch), ethogram.at_hand(scratch), date(2026, 3, 2))
    ringing = calendar.calendar(tasks, datetime(2026, 3, 2, tzinfo=UTC))
    assert ringing.count(b"BEGIN:VALARM") > 1
    yield ringing


def cards_exported(place: Path, scratch: Path) -> Iterator[bytes]:
    animals(scratch)
    small_season(scratch)
    folder.write(etholog.read(scratch), scratch / "tables", defuse=True)
    written = (scratch / "tables" / "cards.csv").read_bytes()
    assert TEXTS["script"].encode() in written
    yield written


def labels_as_words(place: Path, scratch: Path) -> Iterator[bytes]:
    names = [name for name in animals(scratch) if "\0" not in name and len(name) < 90_000]
    yield at_a_terminal(scratch, *(("label", "--folder", str(scratch), "--", name) for name in names[::9]))


def labels_to_print(place: Path, scratch: Path) -> Iterator[bytes]:
    """A few texts, as the drawing takes its time: names, and the species below them."""
    for at, text in enumerate(TEXTS.values()):
        told = [visible(text), visible(text), "not paired"]
        label.write(scratch / f"{at}.svg", [(told, visible(text[:200]) or "F-1")], (70.0, 37.0))
        yield (scratch / f"{at}.svg").read_bytes()


def edit_lists(place: Path, scratch: Path) -> Iterator[bytes]:
    for text in TEXTS.values():
        clip = Clip(Path(text or "film.mp4"), 60.0, Fraction(25), 0.0, 0.0, "watching", ((0.0, 0.0),))
        yield edl(whole([clip]), text).encode()


WAYS: dict[str, tuple[str, Callable[[Path, Path], Iterator[bytes]]]] = {
    "etholog show": ("terminal", show_at_a_terminal),
    "etholog check": ("words", check_at_a_terminal),
    "measures at a terminal": ("terminal", measures_at_a_terminal),
    "refusals": ("terminal", refusals),
    "measures in a pipe": ("piped csv", tables_in_a_pipe),
    "words beside a pipe": ("words", words_beside_a_pipe),
    "measures as JSON": ("json", tables_as_json),
    "exported CSV": ("piped csv", exported_csv),
    "exported CSV, defused": ("defused csv", exported_csv_defused),
    "cards at a terminal": ("terminal", cards_at_a_terminal),
    "cards as a calendar": ("calendar", cards_as_a_calendar),
    "exported cards": ("defused csv", cards_exported),
    "labels as words": ("terminal", labels_as_words),
    "labels to print": ("svg", labels_to_print),
    "edit lists": ("terminal", edit_lists),
    "figures": ("svg", figures),
    "captions": ("cues", captions_of_film),
    "results in a notebook": ("html", results_in_a_notebook),
    "exported workbook": ("workbook", exported_workbook),
    "report": ("html", report_page),
}


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return workspace(tmp_path_factory.mktemp("hostile"))


@pytest.fixture(scope="module")
def season(hostile: Path) -> Season:
    return etholog.read(hostile)


@pytest.mark.parametrize("way", WAYS)
def test_no_text_gets_out(way: str, hostile: Path, tmp_path: Path) -> None:
    judge, make = WAYS[way]
    made = 0
    for data in make(hostile, tmp_path):
        judges.JUDGES[judge](data)
        made += 1
    assert made


def test_every_field_that_takes_a_text_was_walked_with_most_of_them(season: Season) -> None:
    """The walk would be empty if the reader refused the sessions, so count those that it took."""
    taken = dict.fromkeys(FIELDS, 0)
    names = list(FIELDS)
    for file in season.folder.glob("[0-9]*.jsonl"):
        try:
            session.read(file)
        except Refusal:
            continue
        taken[names[int(file.stem[:2])]] += 1
    assert len(TEXTS) > 40
    for name, count in taken.items():
        assert count >= (1 if name == "an ethogram's version" else 15), (name, count)  # that one is a narrow word


@pytest.mark.parametrize("who", ["male", "female"])
@pytest.mark.parametrize("text", TEXTS)
def test_a_session_named_after_anything_lies_in_its_folder(text: str, who: str, tmp_path: Path) -> None:
    try:
        journal = begin(
            tmp_path / "s", small_ethogram(), datetime(2026, 5, 3, 21, 15, tzinfo=UTC), 0.0, **{who: TEXTS[text]}
        )
    except Refusal as refusal:
        judges.words(str(refusal).encode())
        assert not list(tmp_path.rglob("*.jsonl"))
        return
    journal.close()
    [made] = [path for path in tmp_path.rglob("*") if path.is_file()]
    judges.file_name(made, tmp_path / "s")
    assert session.read(made).id == made.stem


@pytest.mark.parametrize(
    ("male", "female"),
    [
        ("colour", "title"),
        ("clipboard", "link"),
        ("screen", "one byte controls"),
        ("terminal markup", "turned around"),
        ("line separators", "overwritten"),
    ],
)
def test_the_watch_screen_shows_names_as_text(male: str, female: str, tmp_path: Path) -> None:
    words = ("watch", *ETHOGRAM, f"--male={TEXTS[male]}", f"--female={TEXTS[female]}")
    with Terminal(*words, cwd=tmp_path, columns=200) as terminal:
        terminal.start()
        terminal.type("s")
        terminal.until("walks began")
        if male == "terminal markup":
            assert "[bold red]pwned[/]" in terminal.screen()
        for text in {TEXTS[male], TEXTS[female]} - {TEXTS["terminal markup"]}:
            assert any(unsafe(character) for character in text[:10])
            assert text[:10].encode() not in terminal.raw
            assert text[:2].encode("unicode_escape") in terminal.raw  # it is shown, and as its escape
