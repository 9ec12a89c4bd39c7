"""Plain mode: keys in, one short sentence out for each mark. For a screen reader, a braille line, a serial console.

Nothing moves the cursor and nothing is coloured; what was said stays said. The recorder is that of the screen.
"""

import os
import signal
import sys
import time
from collections.abc import Callable
from typing import Any

from etholog.base import system
from etholog.base.clock import clock_face, length_face
from etholog.base.text import visible
from etholog.ethogram.own_keys import Act, Where, act_of
from etholog.recording.begun import Begun
from etholog.recording.corrector import Corrector
from etholog.recording.prompts import Prompts
from etholog.recording.recorder import Recorder
from etholog.screens.legend import definitions, key_words, own_words
from etholog.screens.watchdog import LAST_S, Watchdog
from etholog.session.closing import QUESTIONS
from etholog.session.question import NotUnderstood, Surprising

TICK_S = 0.25
HANG_UP, GONE = 1, "the terminal is gone"  # POSIX's number of SIGHUP
# What a terminal sends for the keys that print nothing.
NAMES = {
    "\x7f": "backspace",
    "\b": "backspace",
    "\t": "tab",
    "\x1b[3~": "delete",
    "\r": "enter",
    "\n": "enter",
    "\x1b": "escape",
}


def say(text: str) -> None:
    """Print one line, at once."""
    print(visible(text), flush=True)


class Ended(Exception):
    """A signal asked the program to end, or its terminal is gone; says the signal's number, and how it ended."""

    def __init__(self, number: int, how: str) -> None:
        super().__init__(number, how)
        self.code, self.how = 128 + number, how


class Console:
    """Keys and lines of one terminal, without any help of a screen; within `with`, so that it is given back.

    A signal is only noted when it comes and acted upon between two keys, so that it can't tear a record. Where that
    takes too long, as before a terminal that no longer reads, `before_end(how)` is called and the program ended.
    """

    def __init__(self, keys: system.Keys) -> None:
        self.keys = keys
        self.continued = False  # whether the program was stopped and goes on again
        self.before_end: Callable[[str], None] = lambda how: None
        self._ended: Ended | None = None
        self._watchdog = Watchdog(self._ask_to_end, self._end_by_force)
        self._stops: dict[int, Any] = {}

    def __enter__(self) -> "Console":
        self.keys.__enter__()
        self._watchdog.listen()
        if sys.platform != "win32":
            self._stops = {
                signal.SIGTSTP: signal.signal(signal.SIGTSTP, self._stop),
                signal.SIGCONT: signal.signal(signal.SIGCONT, self._go_on),
            }
        return self

    def __exit__(self, *_: object) -> None:
        self.keys.__exit__()
        self._watchdog.over()
        for number, handler in self._stops.items():
            signal.signal(number, handler)

    def _ask_to_end(self, number: int, how: str) -> None:
        self._ended = Ended(number, how)

    def _end_by_force(self, how: str) -> None:
        self.before_end(how)
        self.keys.give_back_at_once()

    def _stop(self, *_: object) -> None:
        self.keys.give_back()
        # No print: this may come in the middle of one.
        os.write(1, b"\netholog waits, and records nothing meanwhile. To go on with it: fg\n")
        os.kill(os.getpid(), signal.SIGSTOP)

    def _go_on(self, *_: object) -> None:
        self.continued = True
        self.keys.take_over()  # the shell has changed the terminal meanwhile

    def key(self) -> str | None:
        """Wait a moment for a key. Raises Ended after a signal, EOFError at the end of what is no terminal."""
        try:
            key = self.keys.read(TICK_S)
        except EOFError:
            if self.keys.of_terminal:
                raise Ended(HANG_UP, GONE) from None
            if self._ended is not None:
                raise self._ended from None
            raise
        if key is None and self._ended is not None:
            raise self._ended
        return key

    def line(self, question: str, typed: str = "", changed: Callable[[str], None] = lambda _: None) -> str:
        """Print the question and return the line that is typed after it; `changed` is told of each key."""
        print(visible(question + typed), end="", flush=True)
        shown_again = self.continued
        while True:
            key = self.key()
            if key in ("\r", "\n"):
                print(flush=True)
                return typed
            if key in ("\x7f", "\b"):
                typed = typed[:-1]
                changed(typed)
                print("\b \b", end="", flush=True)
            elif key is not None and len(key) == 1 and key.isprintable():
                typed += key
                changed(typed)
                print(key, end="", flush=True)
            elif key is None and self.continued and not shown_again:
                shown_again = True  # the shell has written below it
                print(visible(question + typed), end="", flush=True)


class Plain:
    """Records one session without a screen."""

    def __init__(self, recorder: Recorder, console: Console, bell: bool = False) -> None:
        self._recorder, self._console, self._bell = recorder, console, bell
        self._prompts = Prompts(recorder.ethogram, recorder.live.records)
        self._trouble = ""
        self._rescued = False
        self._read_keys = False  # whether `?` was the last key: again, it reads the definitions

    def run(self) -> bool:
        """Take in keys until the end is keyed; True then, False when the input ended. Raises Ended after a signal."""
        self._console.before_end = self._end_by_force
        say("The clock runs. ? reads the keys.")
        try:
            if note := Begun.of_session(self._recorder.journal.path).typed("note").get("note"):
                say("A note was begun before the break; go on with it, or Enter keeps it.")
                self._note(note)
            while True:
                key = self._console.key()
                at = system.now()
                if self._console.continued:
                    self._console.continued = False
                    say(self._recorder.stopped(at).text)
                self._compare_clocks(at)  # first, or a key that wakes the machine would lie in the gap
                if key is not None and self._take(key, at):
                    return True
                self._tick()
        except EOFError:
            self._broken_off("its input ended")
        except Ended as ended:
            self._broken_off(ended.how)
            raise
        except OSError as error:  # of the terminal: a failing disk raises nothing
            self._broken_off(GONE)
            raise Ended(HANG_UP, GONE) from error
        return False

    def _take(self, key: str, at: float) -> bool:
        recorder, name = self._recorder, NAMES.get(key, key)
        act = act_of(recorder.keyboard.place(name), Where.LINES)
        again, self._read_keys = self._read_keys, act is Act.KEYS and not self._read_keys
        match act:
            case Act.LINE:
                self._note()
            case Act.END:
                recorder.asks_code = False
                say("End? Enter ends the session, any other key goes on.")
                while (answer := self._console.key()) is None:
                    pass
                if NAMES.get(answer) == "enter":
                    recorder.close(system.now())
                    return True
                say("It goes on.")
                return self._take(answer, system.now())
            case Act.KEYS:
                if again:
                    words = definitions(recorder.ethogram, recorder.layout, recorder.keyboard, recorder.hand)
                else:
                    words = [*key_words(recorder.layout), *own_words(Where.LINES, recorder.keyboard)]
                for line in words:
                    say(line)
            case Act.NOW:
                say(self._now())
            case _ if act is not None or (len(key) == 1 and key.isprintable()):
                say(recorder.take(name, at).text)
        return False

    def _note(self, begun: str = "") -> None:
        kept = Begun.of_session(self._recorder.journal.path)
        question = "note: " if self._recorder.live.folding.gap is None else "why: "
        text = self._console.line(question, begun, lambda typed: kept.keep("note", {"note": typed}))
        kept.forget()
        say(self._recorder.line(text, system.now()).text)

    def _now(self) -> str:
        live = self._recorder.live
        now = self._recorder.t(system.now())
        runs = [
            f"{live.ethogram.by_code[bout.code].words}{' ' + bout.qualifier if bout.qualifier else ''}"
            f" for {length_face(now - bout.onset)}"
            for bout in live.folding.running.values()
        ]
        what = "nobody watches" if live.folding.gap is not None else ", ".join(runs) or "nothing runs"
        return f"{clock_face(now)}, {live.stage or 'before'}: {what}"

    def _compare_clocks(self, at: float) -> None:
        awake, wall = time.monotonic(), system.wall_now()
        if not self._console.continued:  # stopped meanwhile: the gap begins where the clocks were compared before
            self._recorder.watch_clocks(at, awake, wall)

    def _tick(self) -> None:
        recorder, at = self._recorder, system.now()
        for prompt in self._prompts.due(recorder.live, recorder.t(at)):
            recorder.prompted(prompt.name, at)
            if self._bell:
                print("\a", end="")
            say(prompt.text)
        if recorder.live.rescued and not self._rescued:
            for line in recorder.rescue_lines:
                say(line)
        self._rescued = recorder.live.rescued
        trouble = recorder.journal.trouble or ""
        if trouble != self._trouble:
            self._trouble = trouble
            say(trouble or "Saved again.")

    def _end_by_force(self, how: str) -> None:
        self._broken_off(how)
        self._recorder.journal.close(LAST_S)

    def _broken_off(self, how: str) -> None:
        if self._recorder.live.folding.gap is None:
            self._recorder.gap(system.now(), f"etholog was ended ({how})")


def ask_closing(of: Corrector, line: Callable[[str, str, Callable[[str], None]], str]) -> None:
    """Ask line by line how a session ended. Each answer is kept as it is given, and what is being typed beside it.

    `line` asks a question, with what stands after it already, and tells of each key.
    """
    begun = Begun.of_session(of.journal.path)
    typed, asks = begun.typed("outcome"), dict.fromkeys(question.name for question in QUESTIONS)
    if typed:  # go on where that was broken off
        asks = {name: None for name in asks if name in typed or name not in of.outcome}
    for question in (question for question in QUESTIONS if question.name in asks):
        text, odd, wrong = typed.pop(question.name, ""), "", True

        def keep(now: str, name: str = question.name) -> None:
            begun.keep("outcome", {**typed, name: now})

        while wrong:
            text = line(f"{question.asked}: ", text, keep)
            try:
                value = question.answer(text, sure=bool(odd) and text == odd)
                wrong = False
                if value is not None:
                    of.answer({question.name: value})
            except NotUnderstood as error:
                odd = text if isinstance(error, Surprising) else ""
                say(f"{error} The same answer again keeps it." if odd else f"{error}.")
                text = ""
        keep("")
    begun.forget()
