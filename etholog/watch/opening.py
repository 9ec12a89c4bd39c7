"""Makes the file of a new session, or opens one again."""

import re
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from etholog import session, system
from etholog.ethogram import Ethogram, Hand
from etholog.journal import Journal
from etholog.refusal import Refusal
from etholog.session import Session
from etholog.watch.amender import Amender
from etholog.watch.keyboard import QWERTY_KEYBOARD, Keyboard
from etholog.watch.live import Live
from etholog.watch.recorder import Recorder


def begin(folder: Path, ethogram: Ethogram, began: datetime, clock_at: float, **said: Any) -> Journal:
    """Make the file of a new session, named after its start and its pair. Raises Refusal when that can't be."""
    when = began.strftime("%Y%m%d-%H%M%S")
    pair = "-".join(re.sub(r"[^\w.-]+", "_", said.get(who, "")).strip("._") or who for who in ("male", "female"))
    name = f"{when}-{pair}"[:120]
    header: dict[str, Any] = {
        "id": name,
        "began": began.isoformat(timespec="milliseconds"),
        "male": "",
        "female": "",
        "species": "",
        "observer": "",
        "place": "",
        "clock": system.CLOCK,
        "clock_at": clock_at,
        "boot": system.boot(),
        "conditions": {},
        "source": "live",
    }
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Refusal(f"{folder}: can't be made ({error.strerror}); choose a folder that can be written") from error
    return Journal.create(folder / f"{name}.jsonl", session.header_of(ethogram, **header | said))


def resume(
    path: Path,
    hand: Hand,
    now: float,
    wall: datetime,
    missed: Sequence[tuple[str, int]] = (),
    keyboard: Keyboard = QWERTY_KEYBOARD,
) -> tuple[Recorder, list[str]]:
    """Go on with a session that was broken off; the time away becomes a gap. Returns what there is to tell, too.

    `missed` are keys, with their milliseconds, that arrived and were never handled: they are taken in before the gap.
    """
    known = session.read(path)
    if known.fold.closed:
        raise Refusal(f"{path}: is closed; `etholog amend` puts right what is in it")
    journal, reading = Journal.open(path)
    told = [*reading.faults, *(fault for fault in known.faults if fault not in reading.faults)]
    same = known.header["boot"] == system.boot() != "" and known.header["clock"] == system.CLOCK
    by_wall = now - (wall - known.began).total_seconds()
    clock_at = known.header["clock_at"] if same else by_wall
    last = known.fold.end
    if not same:
        told.append("the machine was started again since: the time away is by the wall clock")
    # Whatever the clocks say, nothing comes before what is in the file already.
    clock_at = min(clock_at, now - last / 1000)
    live = Live(known.ethogram, records_of(known))
    recorder = Recorder(journal, known.ethogram, hand, known.began, clock_at, live=live, keyboard=keyboard)
    for key, t in missed:
        recorder.take(key, clock_at + t / 1000)
        last = max(last, t)
    recorder.was_away(last, recorder.t(now), wall)
    return recorder, told


def reopen(path: Path, hand: Hand, keyboard: Keyboard = QWERTY_KEYBOARD) -> tuple[Amender, str, list[str]]:
    """Open a closed session to put it right. Returns its pair in words, and what there is to tell, too."""
    known = session.read(path)
    if not known.fold.closed:
        raise Refusal(f"{path}: was never closed; `etholog resume` goes on with it, or ends it")
    journal, reading = Journal.open(path)
    live = Live(known.ethogram, records_of(known), known.fold.end)
    return Amender(journal, live, hand, keyboard), f"{known.header['male']} x {known.header['female']}", reading.faults


def records_of(known: Session) -> list[dict[str, Any]]:
    """Return a session's records as a recorder keeps them."""
    return [{name: value for name, value in record.items() if name != "crc"} for record in known.records]
