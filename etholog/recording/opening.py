"""Makes the file of a new session, or opens one again."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from pathlib import Path
from threading import Thread
from typing import Any

from etholog import animals, ethogram, session
from etholog.animals import Animals, cautions, naming, readiness
from etholog.animals.groups import Fitting, fitting
from etholog.base import files, system
from etholog.base.journal import Journal
from etholog.base.refusal import Refusal
from etholog.base.text import visible
from etholog.base.workspace import root_of
from etholog.ethogram import Ethogram, Hand, Press
from etholog.recording.amender import Amender
from etholog.recording.arrivals import Arrival
from etholog.recording.earlier import Earlier
from etholog.recording.forms import CONDITIONS, ETHOGRAM, PAIR, SETTING
from etholog.recording.keyboard import QWERTY_KEYBOARD, Keyboard
from etholog.recording.live import Live
from etholog.recording.recorder import Recorder
from etholog.recording.replay import replay
from etholog.recording.taps import Tap
from etholog.session.question import Question

MADE = date(2026, 1, 1)  # before any version of this program: a clock that shows an earlier day is wrong


@dataclass
class NewSession:
    """A session that is about to begin: what was said of it so far, by the names of the questions."""

    folder: Path
    hand: Hand
    keyboard: Keyboard
    said: dict[str, Any]

    @property
    def workspace(self) -> Path:
        """The folder in which cards and ethograms lie."""
        return root_of(self.folder)

    @cached_property
    def earlier(self) -> Earlier:
        """The sessions of this folder so far."""
        return Earlier(self.folder)

    @property
    def questions(self) -> tuple[Question, ...]:
        """All that may be asked, both animals first."""
        return (*PAIR, *SETTING, ETHOGRAM, *CONDITIONS)

    @property
    def given(self) -> dict[str, str]:
        """What was said so far, as one would type it."""
        return {name: str(value) for name, value in self.said.items()}

    @property
    def named(self) -> bool:
        """Whether both animals are named."""
        return bool(self.said.get("male") and self.said.get("female"))

    @property
    def pair(self) -> str:
        """Both animals, in words."""
        return pair_of(self.said)

    @property
    def kinds(self) -> list[tuple[str, str]]:
        """The species of each that is named, as said for this session, else as its card or its last session says; and
        its family, as its card says; '' for what nobody told."""
        said, earlier = self.said.get("species", ""), self.earlier
        names = [name for who in ("male", "female") if (name := self.said.get(who, ""))]
        return [(said or earlier.species_of(name), earlier.family_of(name)) for name in names] or [(said, "")]

    @property
    def fitting(self) -> Fitting:
        """The ethogram that was said, else the one that fits these two; its name is '' where none is known to."""
        if said := self.said.get("ethogram"):
            return Fitting(said, "")
        return fitting([species for species, _ in self.kinds], [family for _, family in self.kinds])

    @property
    def headline(self) -> str:
        """What will be recorded; and why that, where nobody said it. Refusal as for `ethogram`."""
        kept, why = self.ethogram, self.fitting.why
        return f"{kept.title} (ethogram {kept.name}: {why})" if why else kept.title

    @property
    def ethogram(self) -> Ethogram:
        """The ethogram that was said or that fits. Refusal when there is none of that name, or a wrong one, or none
        that is known to fit."""
        fit = self.fitting
        if not fit.ethogram:
            raise Refusal(f"{fit.why}; say which one: {', '.join(sorted(self.earlier.known('ethogram')))}")
        return ethogram.read(ethogram.find(fit.ethogram, self.workspace))

    @property
    def layout(self) -> dict[str, Press]:
        """What each key will mean."""
        return self.keyboard.layout(self.ethogram.layout(self.hand))

    @property
    def animals(self) -> Animals:
        """The cards and sessions of the workspace so far."""
        return self._animals.result()

    @cached_property
    def _animals(self) -> Future[Animals]:
        """The same, read beside whatever goes on: thousands of files take seconds, and no key waits for them."""
        reading: Future[Animals] = Future()

        def read() -> None:
            try:
                reading.set_result(animals.read(self.workspace, self.folder))
            except BaseException as error:  # it is raised where the result is asked for
                reading.set_exception(error)

        Thread(target=read, daemon=True).start()
        return reading

    @property
    def doubts(self) -> list[str]:
        """What is to be asked about the two names before the clock, a line each."""
        return self._doubts(self.said.get("male", ""), self.said.get("female", ""))

    def _doubts(self, male: str, female: str) -> list[str]:
        return [f"? {found}" for found in naming.asked(male, female, self.animals)]

    @property
    def asked(self) -> list[str]:
        """What is to be asked about these two, and what their cards fill in, a line each."""
        today = system.wall_now().date()
        return [*self._clock(today), *self.doubts, *self._filled(today)]

    def _clock(self, today: date) -> Iterator[str]:
        """Ask about a day that can't be: the first line keeps it, and no correction changes that line."""
        male, female = (self.said.get(who, "") for who in ("male", "female"))
        cards = [card for name in (male, female) if name and (card := self.animals.find(name))]
        last = max((entry.on.first for card in cards for entry in card.entries), default=MADE)
        if today < max(MADE, last):
            why = "etholog was made" if today < MADE else f"what their cards tell of {last}"
            her, him = naming.quoted(female or "FEMALE"), naming.quoted(male or "MALE")
            yield (
                f"? This computer's clock says {today}, before {why}: is its battery dead? The session keeps that day"
                " for good: set the clock first, or afterwards write the true one:"
                f" etholog card {her} paired {him} --on DAY"
            )

    @property
    def before(self) -> list[str]:
        """The last sessions of these two, a line each."""
        return list(self.earlier.of(self.said.get("male", ""), self.said.get("female", "")))

    def _filled(self, today: date) -> Iterator[str]:
        """Say what the cards fill in, so that a wrong date is seen before the clock."""
        what = {question.name: question.what for question in self.questions}
        known = self.on_cards(today)
        if known:
            yield "from the cards: " + "; ".join(f"{what[name]}: {value}" for name, value in known.items())

    @property
    def cautions(self) -> list[str]:
        """What to beware of: the cautions that follow these two animals, the ethogram's, whom to call."""
        own = [one for one in cautions.cautions(self.kinds, self.ethogram.name) if one != cautions.OTHERS]
        told_already = _topics(own) | ({"hairs"} if cautions.without_hairs(self.kinds) else set())
        # Of what is shipped, the animals' own cautions say the same and more; a keeper's own words are never left out.
        kept = self.ethogram
        others = [one for one in kept.cautions if not (_topics([one]) & told_already and _is_shipped(one, kept.name))]
        return [*own, *others, *filter(None, [cautions.poison_centre(self.workspace)])]

    @property
    def warnings(self) -> list[str]:
        """What speaks against putting these two together today, as cards and sessions know it."""
        male, female = self.said.get("male", ""), self.said.get("female", "")
        if not male or not female:
            return []
        # They are asked how long a moult or a meal counts, which only cards tell of; to read all of them takes long.
        carded = any(self.animals.find(name) for name in (male, female))
        known = ethogram.at_hand(self.workspace) if carded else []
        found = readiness.facts(male, female, self.animals, known, system.wall_now().date())
        return [fact.text for fact in found if fact.side == "against"]

    def take(self, said: dict[str, Any]) -> None:
        """Take in what was said. Refusal as above."""
        before = self.said
        self.said = {name: value for name, value in before.items() if name == "ethogram"} | said
        try:
            _ = self.ethogram
        except Refusal:
            self.said = before
            raise

    def aside(self, typed: Mapping[str, str]) -> str:
        """Return what is known of the two animals named so far; doubts only once all cards and sessions are read."""
        pair = typed["male"].strip(), typed["female"].strip()
        read = self._animals.done() and self._animals.exception() is None
        told = self._doubts(*pair) if read and all(pair) and not self._still_typed(pair) else []
        return "\n".join(visible(f" {line}") for line in (*told, *self.earlier.of(*pair)))

    def _still_typed(self, pair: Iterable[str]) -> bool:
        """Tell whether one of the names may be the beginning of another's."""
        known = [name.casefold() for name in self.animals.known()]
        return any(one.startswith(name.casefold()) and one != name.casefold() for name in pair for one in known)

    def on_cards(self, today: date) -> dict[str, str | int]:
        """Return what the cards say and nobody has said here: the species, and the days since moult and meal."""
        known: dict[str, str | int] = {}
        names = {who: self.said.get(who, "") for who in ("male", "female")}
        species = [self.animals.species_of(name) for name in reversed(names.values()) if name]
        if found := next(filter(None, species), ""):
            known["species"] = found
        for who, name in names.items():
            card = self.animals.find(name) if name else None
            for kind in ("moult", "meal"):
                done = [entry.on for entry in card.all(kind) if entry.words != "refused"] if card else []
                if done and done[-1].exact and done[-1].first <= today:
                    known[f"{who}_days_since_{kind}"] = (today - done[-1].first).days
        return {name: value for name, value in known.items() if self.said.get(name) in (None, "")}

    def prepare(self) -> None:
        """Load what `begin` needs, beside whatever goes on: the first time it takes a tenth of a second."""
        Thread(target=session.prepare, daemon=True).start()

    def begin(self) -> Recorder:
        """Make the file and start the clock. Raises Refusal when the file can't be made."""
        kept, began, clock_at = self.ethogram, system.wall_now(), system.now()
        said = self.said | self.on_cards(began.date())
        about = {question.name: said.get(question.name, "") for question in (*PAIR, *SETTING)}
        conditions = {q.name: said[q.name] for q in CONDITIONS if said.get(q.name) is not None}
        journal = begin(self.folder, kept, began, clock_at, conditions=conditions, **about)
        return Recorder(journal, kept, self.hand, began, clock_at, keyboard=self.keyboard)


def pair_of(about: Mapping[str, Any]) -> str:
    """Return both animals in words, of a session's header or of what was said before one.

    >>> pair_of({"male": "M-Flint", "female": ""})
    'M-Flint x female'
    """
    return f"{about.get('male') or 'male'} x {about.get('female') or 'female'}"


def _topics(cautions: Iterable[str]) -> set[str]:
    """Return what cautions are about, such as 'hairs': the word before the colon of each."""
    return {words[-1].casefold() for one in cautions if (words := one.partition(":")[0].split())}


def _is_shipped(caution: str, name: str) -> bool:
    """Tell whether a shipped ethogram says a caution; most likely the one of that name, and each takes long to read."""
    likeliest_first = sorted(ethogram.shipped().glob("*.toml"), key=lambda file: file.stem != name)
    return any(caution in ethogram.read(file).cautions for file in likeliest_first)


def begin(folder: Path, kept: Ethogram, began: datetime, clock_at: float, name: str = "", **said: Any) -> Journal:
    """Make the file of a new session, named after its start and its pair if not told. Refusal when that can't be."""
    when = began.strftime("%Y%m%d-%H%M%S")
    name = name or _free_name(folder, f"{when}-{_pair_name(said.get('male', ''), said.get('female', ''))}")
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
        raise Refusal(f"{folder}: can't be made ({error.strerror}); {files.remedy(error)}") from error
    return Journal.create(folder / f"{name}.jsonl", session.header_of(kept, **header | said))


def _pair_name(male: str, female: str) -> str:
    """Return both names as part of a file's name; each gets half of the room, or what the other leaves."""
    room = files.NAME_BYTES - len("20260503-211500--")
    his = re.sub(r"[^\w.-]+", "_", male).strip("._") or "male"
    hers = re.sub(r"[^\w.-]+", "_", female).strip("._") or "female"
    his = files.cut(his, max(room // 2, room - len(hers.encode())))
    return f"{his}-{files.cut(hers, room - len(his.encode()))}".rstrip("._")


def _free_name(folder: Path, name: str) -> str:
    """Return the name, with a number behind it where another differs from it in capitals alone."""
    taken = [Path(other).stem for other in files.listed(folder)[0]]
    number, free = 1, name
    while files.alike(free, taken):
        number += 1
        free = f"{name}-{number}"
    return free


LONGEST_S = 100 * 86_400  # a record's time is at most `clock.LONGEST_MS`, 115 days


def resume(
    path: Path,
    hand: Hand,
    now: float,
    wall: datetime,
    missed: Sequence[Arrival] = (),
    keyboard: Keyboard = QWERTY_KEYBOARD,
) -> tuple[Recorder, list[str]]:
    """Go on with a session that was broken off; the time away becomes a gap. Returns what there is to tell, too.

    `missed` are keys that arrived and were never handled: they are taken in before the gap.
    """
    known = session.read(path)
    known.refuse_closed()
    journal, _ = Journal.open(path)
    told = [str(finding) for finding in known.findings]
    same = known.header["boot"] == system.boot() != "" and known.header["clock"] == system.CLOCK
    by_wall = now - (wall - known.zero_by_wall).total_seconds()
    clock_at = known.header["clock_at"] if same else by_wall
    last = known.fold.end
    if not same:
        told.append("the machine was started again since: the time away is by the wall clock")
        if by_wall > now - last / 1000:
            told.append("the wall clock is behind the last mark: how long you were away is not known")
    # Whatever the clocks say, nothing comes before what is in the file already.
    clock_at = min(clock_at, now - last / 1000)
    if now - clock_at > LONGEST_S:  # the times of its records would be refused when they are read
        days = (now - clock_at) / 86_400
        clock_at = now - last / 1000 - 60
        told.append(
            f"broken off {days:.0f} days ago, more than a session can hold: its clock goes on a minute after it"
        )
    live = Live(known.ethogram, known.records)
    recorder = Recorder(journal, known.ethogram, hand, known.began, clock_at, live=live, keyboard=keyboard)
    replay(recorder, missed, clock_at)
    if not recorder.closed:
        if missed:
            last = max(r["t"] for r in recorder.live.marks_in_time)
        recorder.was_away(last, recorder.t(now), "the recorder was away")
    return recorder, told


def take_late(path: Path, hand: Hand, taps: Sequence[Tap]) -> list[str]:
    """Take taps into a session that has ended, each at its time; return what became of each, in words. Refusal as in
    `reopen`."""
    known = session.read(path)
    journal, _ = Journal.open(path)
    live = Live(known.ethogram, known.records, known.fold.end)
    recorder = Recorder(journal, known.ethogram, hand, known.began, clock_at=0.0, live=live)
    told = [recorder.tap(tap, late=True).text for tap in taps]
    if not journal.close():
        raise Refusal(f"{path}: takes no more ({journal.trouble}); the taps stay where they are")
    return told


def reopen(path: Path, hand: Hand, keyboard: Keyboard = QWERTY_KEYBOARD) -> tuple[Amender, str, list[str]]:
    """Open a closed session to correct it. Returns its pair in words, and what there is to tell, too."""
    known = session.read(path)
    if not known.fold.closed:
        raise Refusal(f"{path}: was never closed; `etholog resume` goes on with it, or ends it")
    journal, reading = Journal.open(path)
    live = Live(known.ethogram, known.records, known.fold.end)
    return (
        Amender(journal, live, hand, keyboard),
        pair_of(known.header),
        [str(finding) for finding in reading.findings],
    )
