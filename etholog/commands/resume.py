"""`etholog resume`: go on with a session that was broken off, the time away being a gap."""

import argparse
from pathlib import Path

from etholog import animals, session
from etholog.animals import naming
from etholog.base import journal, rescue, system
from etholog.base.catalogues import asked_for_labels
from etholog.base.clock import clock_face
from etholog.base.journal import Journal
from etholog.base.language import labelling
from etholog.base.refusal import Finding, Refusal
from etholog.base.rescue import Rescue
from etholog.base.text import many, visible
from etholog.base.workspace import workspace, workspace_of
from etholog.commands import recording
from etholog.commands.output import say, tell
from etholog.ethogram import Hand
from etholog.recording.arrivals import Arrival, Arrivals
from etholog.recording.begun import Begun
from etholog.recording.keyboard import Keyboard
from etholog.recording.opening import pair_of, resume
from etholog.recording.recorder import Recorder
from etholog.recording.replay import LINE_BEGINS, rehearse
from etholog.recording.taps import LateTaps
from etholog.session import FORMATS, Session, summary
from etholog.session.broken_off import broken_off


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument(
        "file", nargs="?", type=Path, metavar="FILE", help="the session's file (default: the last that was broken off)"
    )
    parser.add_argument("--folder", type=Path, help="the workspace whose last is meant (default: here)")
    parser.add_argument("--rescue", type=Path, metavar="FILE", help="a rescue file to take in first; most are found")
    recording.add_plain(parser)
    recording.add_look(parser)
    recording.add_phone(parser)
    parser.epilog = "examples:\n  etholog resume\n  etholog resume sessions/20260503-211500-M-Basalt-F-Umbra.jsonl"


def run(args: argparse.Namespace) -> int:
    """Go on recording."""
    with labelling(asked_for_labels(args.language)):
        return _run(args)


def _run(args: argparse.Namespace) -> int:
    if args.file and args.folder:
        raise Refusal("a file says by itself which workspace is meant: leave --folder out")
    args.file = args.file or _last_broken_off(workspace(args.folder or Path()).sessions)
    recording.check_phone(args)
    if not args.plain and not _is_card(args.file):
        recording.need_terminal()
    recording.settle(args, workspace_of(args.file), args.file)
    keyboard = Keyboard.of(args.map)
    if take_in(args.file, args.rescue) and not _open_session(args.file):
        return 0
    read = session.read(args.file)
    if read.header["clock"] == "film":
        from etholog.commands.film import watching

        if args.phone:
            raise Refusal("--phone goes with the animals, not with a film")
        return watching.resume(args, keyboard)
    if Begun.of_session(args.file).typed("outcome") and read.fold.closed:
        return recording.ask_again(args, keyboard)
    missed = _offered_back(read, args.hand, keyboard)
    recorder, told = resume(args.file, args.hand, system.now(), system.wall_now(), missed, keyboard)
    say(*told)
    if late := LateTaps(args.file).read():  # they stay there: a tap that comes again makes nothing
        for tap in late:
            recorder.tap(tap, late=True)
        say(f"{many(len(late), 'tap')} of the phone taken in")
    code = _gone_on(args, recorder)
    if not code:  # the clock runs: what reads the whole workspace waits until it has stopped
        say(*_doubts(args.file))
    return code


def _gone_on(args: argparse.Namespace, recorder: Recorder) -> int:
    """Record until that ends; return the exit code."""
    if recorder.closed:
        return recording.finish(recorder)
    Arrivals(args.file).settle(recorder.journal.n)
    if args.plain:
        from etholog.screens.plain import Console

        with Console(system.Keys()) as console:
            return recording.plainly(recorder, console, args.bell)
    return recording.record(args, recorder=recorder, pair=pair_of(session.header(args.file)))


def _last_broken_off(folder: Path) -> Path:
    """Return the session of the workspace that was broken off last. Refusal where there is none."""
    found = broken_off(folder)
    if not found:
        raise Refusal(f"{folder}: no session was broken off; name the file of the one that is meant")
    if len(found) > 1:
        say(f"{len(found)} sessions were broken off; this is the last. The others: {', '.join(map(str, found[1:]))}")
    return found[0]


def _doubts(file: Path) -> list[Finding]:
    """Return what is to be asked about the names of a session's animals."""
    header = session.header(file)
    known = animals.read(workspace_of(file), file.absolute().parent)
    return list(naming.twins(known, (header["male"], header["female"])))


def _open_session(file: Path) -> bool:
    """Tell whether there is anything to go on with; where the session ended, or it is a card, say what it holds."""
    if _is_card(file):
        return False
    read = session.read(file)
    if not read.fold.closed:
        return True
    tell(*summary.lines(read))
    say(f"kept in {file}")
    return False


def _is_card(file: Path) -> bool:
    return _begins(file) and journal.decoded(journal.first(file)).get("format") not in FORMATS


def take_in(file: Path, named: Path | None) -> int:
    """Take in what rescue files hold of a journal, and say so. Returns from how many of them something came."""
    if named is not None and not _begins(file):
        one = rescue.read(named)
        if not one.whole:
            what = "is not there or has lost its first line"
            raise Refusal(f"{file}: {what}, and {named} holds only {one.told()}; name the session's own file")
        rescue.put_in_place(one, file)
        say(f"{one.told()} of {named} written to {file}; the rescue file is {one.put_away()} now")
        return 1
    own, nameless = rescue.of(file)
    if named is not None:
        one = rescue.read(named)
        if 0 in one.bodies and one.bodies[0] != journal.first(file):
            raise Refusal(f"{named}: is of another session (`etholog show {named}` says of which)")
        own, nameless = [one], []
    for one in nameless:
        say(f"{one.path}: may be of this session, by its name; --rescue {one.path} takes it in")
    return sum(_taken(file, one) for one in own)


def _begins(file: Path) -> bool:
    try:
        return bool(journal.first(file))
    except Refusal:
        return False


def _taken(file: Path, one: Rescue) -> bool:
    reading = journal.read(file)
    loose, following = one.loose(reading), one.following(reading)
    spoilt = sum(found.line is not None for found in reading.findings) - bool(reading.torn)
    if (loose or spoilt) and one.whole and len(one.bodies) >= reading.next_n:
        Journal.open(file)[0].close()  # or it is refused: another etholog writes into it
        lacking = many(len(loose) or spoilt, "line")
        print(visible(f"{file} was changed by another program: it lacks {lacking} of {one.path}."))
        if not _agreed(f"Enter puts the rescued session in its place (the file becomes {file.name}.changed)"):
            return False
        rescue.put_in_place(one, file)
        say(f"{one.told()} of {one.path} put into {file}; the rescue file is {one.put_away()} now")
        return True
    book, _ = Journal.open(file)
    count = len(following)
    book.take_in(following)
    if loose:
        there = {journal.number(body): body for body in reading.bodies}
        records = many(len(loose), "record has", "records have")
        print(visible(f"{records} a number in {one.path} that {file} has given to another record, or lost:"))
        for body in loose[:10]:
            n = journal.number(body)
            mine = _in_words(there[n]) if n in there else "lost"
            print(visible(f"  {n}: in the file {mine}; rescued {_in_words(body)}"))
        if _agreed("Enter adds the rescued ones at the end, under new numbers"):
            count += rescue.add_behind(book, loose)
            loose = []
    if not book.close():
        raise Refusal(f"{file}: takes no more ({book.trouble}); {one.path} stays as it is")
    if count:
        say(f"{many(count, 'record')} taken in from {one.path}")
    if not loose:
        say(f"the rescue file is {one.put_away()} now")
    return count > 0


def _in_words(body: bytes) -> str:
    record = journal.decoded(body)
    said = [str(record[name]) for name in ("code", "qualifier", "edge", "text", "why", "key", "of") if name in record]
    at = [clock_face(record["t"])] if "t" in record else []
    return " ".join([str(record["do"]), *said, *at])[:60]


def _agreed(question: str) -> bool:
    """Ask; Enter agrees."""
    try:
        return input(f"{visible(question)}, n leaves them out. ").strip().lower() != "n"
    except EOFError:
        print()
        return False


def _offered_back(known: Session, hand: Hand, keyboard: Keyboard) -> list[Arrival]:
    """Show what keys would do that arrived and never reached the journal, and return those that shall be taken in."""
    file = known.path
    missed = Arrivals(file).unhandled(known.records[-1]["n"] + 1 if known.records else 1, known.fold.end)
    told, records = rehearse(known, hand, keyboard, missed)
    begun = Begun.of_session(file)
    note = begun.typed("note").get("note")
    goes_on = bool(note) and len(told) > len(missed) and told[-1].endswith(f": {note}")
    if goes_on:  # the line itself stands there again, to go on with
        missed = missed[: len(missed) - 1 - told[len(missed) - 1 :: -1].index(LINE_BEGINS)]
        told, records = rehearse(known, hand, keyboard, missed)
    taken = _chosen(missed, told) if records and not known.fold.closed else []
    if not goes_on and LINE_BEGINS in told[: len(taken) if records else None]:
        begun.forget()  # the keys know more of it: it would be kept twice
    return taken


def _chosen(missed: list[Arrival], told: list[str]) -> list[Arrival]:
    """Show what the keys would do, ask, and return those that shall be taken in."""
    print(f"{many(len(missed), 'key was', 'keys were')} pressed and never handled. This would come of it:")
    for number, (arrival, what) in enumerate(zip(missed, told, strict=False), 1):
        shows = len(arrival.character) == 1 and arrival.character.strip() and arrival.character.isprintable()
        key = arrival.character if shows else arrival.key
        print(visible(f"{number:>5}  {clock_face(arrival.t)}  {key:<10} {what}"))
    for what in told[len(missed) :]:
        print(visible(f"       a line that was not ended: {what}"))
    while True:
        try:
            answer = input("Enter takes all in, a number takes the first so many, n takes none. ").strip().lower()
        except EOFError:
            return []
        if answer in ("", "n"):
            return missed if not answer else []
        if answer.isdecimal() and int(answer) <= len(missed):
            return missed[: int(answer)]
