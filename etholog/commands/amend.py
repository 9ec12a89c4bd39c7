"""`etholog amend`: walk along a closed session and correct marks, or give and change the answers about its end."""

import argparse
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from etholog import session
from etholog.base.catalogues import asked_for_labels
from etholog.base.clock import clock_face
from etholog.base.journal import Scalar
from etholog.base.language import labelling
from etholog.base.refusal import Finding, Refusal
from etholog.base.text import in_words, many, visible
from etholog.base.workspace import workspace_of
from etholog.commands import recording
from etholog.commands.output import goes_with, say, tell
from etholog.ethogram import Hand
from etholog.recording.keyboard import Keyboard
from etholog.recording.opening import reopen, take_late
from etholog.recording.taps import WORDS, LateTaps
from etholog.session import closing, summary


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("file", type=Path, metavar="SESSION", help="a closed session's file")
    names = ", ".join(question.name for question in closing.QUESTIONS)
    parser.add_argument(
        "--answer",
        action="append",
        metavar="NAME=ANSWER",
        help=f"without a screen: answer one of {names}; nothing after = takes an answer away",
    )
    parser.add_argument("--sure", action="store_true", help="with --answer: it is meant so, a date that is past too")
    recording.add_look(parser)
    parser.epilog = (
        "examples:\n  etholog amend sessions/20260503-211500-M-Basalt-F-Umbra.jsonl\n"
        "  etholog amend SESSION --answer again=yes --answer again_when='in 10 days'\n"
        "  etholog amend SESSION --answer again=never --answer male_whole=n"
    )


def run(args: argparse.Namespace) -> int:
    """Show the strip with a cursor, or take answers in; then print what the session comes to now."""
    with labelling(asked_for_labels(args.language)):
        return _run(args)


def _run(args: argparse.Namespace) -> int:
    goes_with("--answer", args.answer, sure=args.sure)
    if args.answer:
        return _answer(args.file, args.answer, args.sure)
    recording.need_terminal()
    from etholog.screens.amending import AmendApp

    recording.settle(args, workspace_of(args.file))
    _offer_late(args.file, args.hand)
    amender, pair, told = reopen(args.file, args.hand, Keyboard.of(args.map))
    say(*told)
    before = amender.journal.n
    app = AmendApp(amender, recording.look(args), pair)
    app.run()
    added = amender.journal.n - before
    if not recording.kept(amender.journal):
        return app.return_code or 1
    return _told(args.file, added, app.return_code or 0)


def _offer_late(file: Path, hand: Hand) -> None:
    """Show the taps of a phone that came when the session had ended, and take them in if that is wished."""
    late = LateTaps(file)
    known = session.read(file)
    there = {record["id"] for record in known.records if record["do"] == "tap"}
    taps = [tap for tap in late.read() if tap.id not in there]
    if not known.fold.closed:
        return
    if not taps:
        late.forget()
        return
    labels = {behaviour.code: behaviour.words for behaviour in known.ethogram.behaviour}
    taps_are = many(len(taps), "tap of the phone", "taps of the phone")
    print(f"{taps_are} came after the session had ended:")
    for tap in taps:
        unsure = "" if tap.sure else f"  (unsure: between {clock_face(tap.earliest)} and {clock_face(tap.latest)})"
        what = in_words(tap.what, labels) if not tap.act else WORDS.get(tap.act, tap.act)
        print(visible(f"  {clock_face(tap.t)}  {what}{f': {tap.text}' if tap.text else ''}{unsure}"))
    try:
        answer = input("Enter takes them in, n leaves them out for good, any other answer asks again next time. ")
    except EOFError:
        print()
        return
    if not answer.strip():
        for tap, told in zip(taps, take_late(file, hand, taps), strict=True):
            tell(f"  {clock_face(tap.t)}  {told}")
    if answer.strip().lower() in ("", "n"):
        late.forget()


def _answer(file: Path, given: Sequence[str], sure: bool) -> int:
    answers = _meant(given, date.today(), sure)
    amender, _, told = reopen(file, "left")
    say(*told)
    before = amender.journal.n
    amender.answer(answers)
    added = amender.journal.n - before
    if not recording.kept(amender.journal):
        return 1
    return _told(file, added, 0)


def _meant(given: Sequence[str], today: date, sure: bool) -> dict[str, Scalar]:
    """Return what was answered. Raises Refusal with all that is not understood, or is odd and not said to be sure."""
    answers: dict[str, Scalar] = {}
    wrong: list[Finding] = []
    for one in given:
        name, equals, text = one.partition("=")
        if not equals:
            wrong.append(Finding(f"{one!r}: write NAME=ANSWER, such as again=yes"))
            continue
        meant = closing.answer(name.strip(), text, today, sure)
        if isinstance(meant, Finding):
            odd = not isinstance(closing.answer(name.strip(), text, today, sure=True), Finding)
            wrong.append(Finding(f"{meant.what} If so, add --sure.") if odd else meant)
        else:
            answers[name.strip()] = meant
    if wrong:
        raise Refusal(*wrong)
    return answers


def _told(file: Path, added: int, code: int) -> int:
    tell(*summary.lines(session.read(file)))
    say(f"{many(added, 'record')} added to {file}; what was first typed is still in it")
    return code
