"""Second thoughts about a closed session: each is one more line, and what was first typed is still there."""

from pathlib import Path

import pytest

from etholog import session
from etholog.base.refusal import Refusal
from etholog.recording.amender import Amender
from etholog.recording.opening import reopen
from etholog.screens.amending import AmendApp
from etholog.screens.themes import THEMES, Look
from tests.make import press, recorder
from tests.screens.captures import seen, text
from tests.screens.terminal import Terminal

# By the left hand: r she raises, d drums, g taps, v clasp, x left palp, n she strikes, w she answers.


@pytest.fixture
def closed(tmp_path: Path) -> Path:
    live = recorder(tmp_path)
    press(live, *"drrvxv]g")  # at 1, 2 ... 8 s
    live.close(120, {"ended": "he got out"})
    assert live.journal.close()
    return live.journal.path


def amended(path: Path, *doings: str) -> session.Session:
    """Do each doing: a key, `step`, `go 5000`, or a method of the amender; then read the file anew."""
    amender, _, _ = reopen(path, "left")
    for doing in doings:
        name, *rest = doing.split(" ", 1)
        if name == "go":
            amender.go(int(rest[0]))
        elif name == "step":
            amender.step(int(rest[0]))
        elif name == "line":
            amender.line(rest[0])
        elif len(name) > 1:
            getattr(amender, name)()
        else:
            amender.press(name)
    assert amender.journal.close()
    return session.read(path)


def spans(read: session.Session) -> list[tuple[str, str | None, int, int]]:
    return [(bout.code, bout.qualifier, bout.onset // 1000, bout.offset // 1000) for bout in read.fold.bouts]


BEFORE = [
    ("drumming", None, 1, 4),  # the clasp ends it
    ("raises", None, 2, 3),
    ("clasp", None, 4, 6),
    ("insertion", "left", 5, 6),
    ("leg_tapping", None, 8, 20),
]


def test_an_added_onset_and_its_offset_make_a_bout(closed: Path) -> None:
    read = amended(closed, "go 10000", "q", "go 12000", "q", "go 13000", "w")
    assert sorted(spans(read)) == sorted([*BEFORE, ("female_hidden", None, 10, 12), ("answers", None, 13, 13)])
    assert not read.fold.remarks


def test_an_onset_added_in_a_chain_ends_what_ran(closed: Path) -> None:
    read = amended(closed, "go 10000", "f")
    assert ("leg_tapping", None, 8, 10) in spans(read)
    assert ("vibration", None, 10, 20) in spans(read)


def test_what_was_closed_stays_closed_and_as_long(closed: Path) -> None:
    before = session.read(closed)
    read = amended(closed, "go 10000", "q", "line a thought")
    assert read.fold.closed
    assert read.fold.outcome == {"ended": "he got out"}
    assert read.fold.end == before.fold.end == 20_000
    assert read.records[: len(before.records)] == before.records


def test_moving_recoding_doubting_and_taking_out_the_mark_walked_to(closed: Path) -> None:
    read = amended(closed, "step 1", "step 1", "line -0.5", "recode_or_ask", "doubt")
    (threat,) = [bout for bout in read.fold.bouts if bout.code == "threat"]
    assert (threat.onset, threat.offset, threat.whole, threat.sure) == (1500, 3000, True, False)
    assert not read.fold.remarks  # its end was recoded with it
    read = amended(closed, "go 5000", "take_out")
    assert "insertion" not in [bout.code for bout in read.fold.bouts]


def test_a_recode_of_both_ends_is_taken_back_as_one(closed: Path) -> None:
    assert spans(amended(closed, "go 3000", "recode_or_ask", "undo")) == BEFORE


def test_a_state_recoded_to_an_event_is_one_event(closed: Path) -> None:
    amender, _, _ = reopen(closed, "left")
    amender.go(3000)
    event = amender.layout["w"]
    amender.recode(event.behaviour, event.choice)
    amender.journal.close()
    assert [span for span in spans(session.read(closed)) if span[0] in ("raises", "answers")] == [
        ("answers", None, 2, 2)
    ]


def test_a_stray_key_becomes_the_mark_that_it_should_have_been(closed: Path) -> None:
    read = amended(closed, "go 7000", "recode_or_ask", "n")
    assert ("strike", None, 7, 7) in spans(read)
    assert not [said for said in read.fold.said if said.do == "stray"]


def test_walking_on_calls_off_the_question_which_key_it_should_have_been(closed: Path) -> None:
    read = amended(closed, "go 7000", "recode_or_ask", "step -1", "n")
    assert ("strike", None, 6, 6) in spans(read)  # added, and nothing recoded
    assert ("clasp", None, 4, 6) in spans(read)


def test_a_stray_key_that_became_an_onset_is_recoded_with_its_offset(closed: Path) -> None:
    read = amended(closed, "go 7000", "recode_or_ask", "r", "go 9000", "r", "go 7000", "recode_or_ask")
    assert not read.fold.remarks
    assert ("threat", None, 7, 9) in spans(read)


def test_a_bout_is_not_turned_round(closed: Path) -> None:
    read = amended(closed, "go 2000", "line +5")
    assert [(b.onset, b.offset) for b in read.fold.bouts if b.code == "raises"] == [(2999, 3000)]
    assert not read.fold.remarks


def test_no_mark_is_moved_past_the_end_of_the_session(closed: Path) -> None:
    read = amended(closed, "go 8000", "line +600")
    assert (read.fold.end, spans(read)[-1]) == (20_000, ("leg_tapping", None, 20, 20))


def test_no_onset_is_moved_past_what_ended_its_bout(closed: Path) -> None:
    read = amended(closed, "go 1000", "line +7", "go 5000", "line +7")  # what the clasp ended, and what ended with it
    assert [(b.code, b.onset, b.offset) for b in read.fold.bouts if b.code in ("drumming", "insertion")] == [
        ("drumming", 3999, 4000),
        ("insertion", 5999, 6000),
    ]


def test_no_end_is_moved_before_the_beginning_of_what_it_ended(closed: Path) -> None:
    read = amended(
        closed, "go 6000", "line -1.5", "go 4000", "line -60"
    )  # the clasp's end; its onset ends the drumming
    assert [(b.code, b.onset, b.offset) for b in read.fold.bouts if b.code in ("drumming", "clasp", "insertion")] == [
        ("drumming", 1000, 1001),
        ("clasp", 1001, 5001),
        ("insertion", 5000, 5001),
    ]


@pytest.mark.parametrize(
    ("doings", "gap"),
    [(("go 2000", "line +60"), (2999, 3000)), (("go 3000", "step -1", "step 1", "line -60"), (2000, 2001))],
)
def test_a_gap_is_not_turned_round(tmp_path: Path, doings: tuple[str, ...], gap: tuple[int, int]) -> None:
    live = recorder(tmp_path)
    press(live, *"d-rd")  # nobody watched from 2 to 3 s
    live.close(120)
    assert live.journal.close()
    read = amended(live.journal.path, *doings)
    assert [(one.onset, one.offset) for one in read.fold.gaps] == [gap]
    assert (read.fold.end, read.fold.remarks) == (20_000, [])


def test_a_note_belongs_to_the_mark_in_hand(closed: Path) -> None:
    read = amended(closed, "go 5500", "line on film it is the right one")
    (note,) = [record for record in read.records if record["do"] == "note"]
    (insertion,) = [bout for bout in read.fold.bouts if bout.code == "insertion"]
    assert note["of"] == insertion.n


def test_the_cursor_walks_from_mark_to_mark_and_not_out_of_the_session(closed: Path) -> None:
    amender, _, _ = reopen(closed, "left")
    met = []
    for _ in range(9):
        amender.step(1)
        met.append(amender.cursor // 1000)
    assert met == [1, 2, 3, 4, 5, 6, 7, 8, 8]
    amender.step(-1)
    assert amender.cursor == 7000
    amender.line("@1:00:00")
    assert amender.cursor == 20_000
    amender.line("@0:05")
    assert amender.cursor == 5000
    amender.go(-1)
    assert amender.in_hand() is None
    assert amender.undo().n is amender.take_out().n is amender.doubt().n is None
    amender.journal.close()


def test_only_a_closed_session_is_amended(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    press(live, "d")
    live.journal.close()
    with pytest.raises(Refusal, match="never closed"):
        reopen(live.journal.path, "left")


def test_two_do_not_amend_one_session(closed: Path) -> None:
    amender, _, _ = reopen(closed, "left")
    assert isinstance(amender, Amender)
    with pytest.raises(Refusal, match="another etholog"):
        reopen(closed, "left")
    amender.journal.close()


@pytest.mark.slow
async def test_in_a_narrow_window_questions_stand_whole_and_the_keys_tell_of_their_next_page(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    press(live, *"dz")  # he probes outside of any clasp
    live.close(120)
    assert live.journal.close()
    amender, pair, _ = reopen(live.journal.path, "left")
    app = AmendApp(amender, Look(THEMES["day"]), pair)
    async with app.run_test(size=(60, 20)) as pilot:
        await pilot.pause()
        asked = amender.live.folding.remarks[0].what
        assert len(asked) > len("outside any 'clasp'")
        assert asked in " ".join(text(seen(pilot)).split())
        pages = []
        for _ in range(3):
            await pilot.press("question_mark")
            await pilot.pause()
            pages.append(text(seen(pilot)))
        assert all(f"? turns the page ({number} of " in page for number, page in enumerate(pages, 1))
        listed = [line.strip() for page in pages for line in page.splitlines()]
        assert "Esc leave" in listed
    amender.journal.close()


@pytest.mark.slow
def test_amending_in_a_terminal(closed: Path, tmp_path: Path) -> None:
    with Terminal("amend", str(closed), cwd=tmp_path) as terminal:
        terminal.until("in hand: palpal drumming began 0:00:01")
        terminal.type("\x1b[B")  # down: the next mark
        terminal.until("in hand: she raises began 0:00:02")
        terminal.type("2")
        terminal.until("is now: she threatens began 0:00:02")
        terminal.type("\x1b[1;2C")  # Shift-Right
        terminal.until("moved to 0:00:02, no further")  # before its end, at 3 s
        terminal.type("\x1b[1;2D")  # Shift-Left
        terminal.until("moved to 0:00:01: ")
        terminal.type("\x1b[C\x1b[C")  # right: two seconds on, and again
        terminal.until("0:00:05 of 0:00:20")
        terminal.type("\r")
        terminal.read(0.3)
        terminal.type("+0.5\r")
        terminal.until("moved to 0:00:05: insertion left")
        terminal.type("q")
        terminal.until("added: she is hidden began 0:00:05")
        terminal.type("\x7f")
        terminal.until("taken back: she is hidden")
        terminal.type("?")
        terminal.until("from mark to mark")
        terminal.type("\x1b")
        assert terminal.wait() == 0
        assert "what was first typed is still in it" in terminal.screen()
    read = session.read(closed)
    assert [bout.onset for bout in read.fold.bouts if bout.code == "insertion"] == [5500]
    assert "female_hidden" not in [bout.code for bout in read.fold.bouts]
    assert [(bout.code, bout.onset) for bout in read.fold.bouts if bout.code in ("raises", "threat")] == [
        ("threat", 1999)
    ]
