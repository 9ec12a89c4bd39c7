"""`etholog` alone, on a terminal: the desk, and what is chosen there."""

import contextlib
import io
import os
import shlex
import shutil
import sys
from collections.abc import Callable, Hashable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from etholog import animals, session
from etholog.animals import Animals, care, entering
from etholog.animals.card import KINDS, Entry
from etholog.animals.custody import custody
from etholog.animals.entering import NewEntry
from etholog.base import rescue
from etholog.base.dates import Day
from etholog.base.files import listed
from etholog.base.refusal import Refusal
from etholog.base.text import many
from etholog.base.workspace import workspace
from etholog.commands import main
from etholog.commands.recording import look_of
from etholog.ethogram import at_hand
from etholog.recording.opening import pair_of
from etholog.screens.home import CARD, FEED, NO_ANIMALS, PLAN, READY, Home, Way
from etholog.screens.themed import ThemedApp
from etholog.screens.themes import Look
from etholog.session.question import NotUnderstood

if TYPE_CHECKING:
    from etholog.screens.planning import Pair

SIGNALLED, INTERRUPTED = 128, 130  # an exit code beyond the first names a signal; the second is Ctrl-C


Meant = TypeVar("Meant")


class _EndedFromOutside(Exception):
    """A signal, or a terminal that is gone, ended what the desk showed: so the desk ends too, with that exit code."""

    def __init__(self, code: int) -> None:
        super().__init__(code)
        self.code = code


def run() -> int:
    """Show the desk, do what is chosen there, and come back to it."""
    try:
        return _desk()
    except _EndedFromOutside as ended:
        return ended.code


def _shown(app: ThemedApp) -> Any:
    """Show one of the desk's screens until it ends; return its result."""
    result = app.run()
    if app.return_code:
        raise _EndedFromOutside(app.return_code)
    return result


def _done(words: Sequence[str]) -> None:
    """Run a command; what it found and refused it has said itself."""
    code = main(words)
    if code > SIGNALLED and code != INTERRUPTED:
        raise _EndedFromOutside(code)


def _desk() -> int:
    said = ""
    while True:
        here = workspace(Path())
        today, known = date.today(), animals.read(here.root, here.sessions)
        look = look_of(here.root)
        journals = [folder / name for folder in (here.sessions, here.root / "animals") for name in listed(folder)[0]]
        alarms = [str(found) for found in rescue.waiting(journals)]
        tasks = care.due(known, at_hand(here.root), today)
        unended = [_pair_of(path) for path in known.broken_off]
        way = _shown(Home(look, known, tasks, today, alarms, unended, said))
        if way is None:
            return 0
        said = ""
        if way == FEED:
            said = _feed(look, known, today)
        elif way == PLAN:
            said = _plan(look, known, today)
        elif way == CARD:
            said = _fill_card(look, known, today)
        elif not _command(way, look, known):
            return 0


def _pair_of(path: Path) -> str:
    header = session.header(path)
    return f"{pair_of(header)} of {header['began']:%Y-%m-%d %H:%M}"


def _command(way: Way, look: Look, known: Animals) -> bool:
    """Run a way's command, and wait; False at the end of input."""
    words = _chosen_pair(look, known) if way == READY else way.words
    if words is None:
        return True
    print(f"$ etholog {' '.join(words)}\n")
    if way.paged:
        _page(words)
    else:
        _done(words)
    try:
        input("\nEnter: back to the desk. ")
    except EOFError:
        return False
    return True


class _Page(io.StringIO):
    """Takes what is printed as the terminal would, to be shown page by page."""

    encoding = "utf-8"

    def isatty(self) -> bool:
        """Whether people read it."""
        return True


def _page(words: Sequence[str]) -> None:
    """Run a command; where it prints more than the window holds, let the system's pager show it."""
    page = _Page()
    with contextlib.redirect_stdout(page), contextlib.redirect_stderr(page):
        _done(words)
    text = page.getvalue()
    if text.count("\n") < shutil.get_terminal_size().lines - 3:
        sys.stdout.write(text)
        return
    import pydoc

    os.environ.setdefault("LESS", "-R")  # colours as they are
    pydoc.pager(text)


def _chosen_pair(look: Look, known: Animals) -> tuple[str, ...] | None:
    """Let the keeper choose a male and a female. None where that was left."""
    from etholog.screens.picking import Picking

    chosen: list[str] = []
    for sex in ("male", "female"):
        rows = [(name, _known_of(known, name)) for name in _here(known) if known.sex_of(name) in (sex, "unknown")]
        asked = "Which male?" if sex == "male" else f"{chosen[0]}, and which female?"
        name = _shown(Picking(look, asked, rows))
        if name is None:
            return None
        chosen.append(name)
    return ("ready", *chosen)


def _here(known: Animals) -> list[str]:
    """Return the animals that live, and live here; those on loan from others too."""
    return [name for name in known.known() if not known.died(name) and custody(known.find(name)).at_hand]


def _known_of(known: Animals, name: str) -> str:
    """Return in a line what is known of an animal."""
    card, met = known.find(name), known.pairings_of(name)
    last = {kind: found.on.text for kind in ("moult", "meal") if card and (found := card.last(kind))}
    parts = [known.species_of(name) or "species not on record", *(f"{kind} {on}" for kind, on in last.items())]
    return ", ".join([*parts, *([f"session {met[-1].on.text}"] if met else [])])


def _feed(look: Look, known: Animals, today: date) -> str:
    """Walk down the animals with a key a meal; return what came of it."""
    from etholog.screens.feeding import Feeding

    def give(name: str, meal: str) -> tuple[str, int, str]:
        entry = Entry(0, "meal", Day.of(today), words=meal)
        proposal = entering.propose(animals.read(Path()), [NewEntry(name, entry)], today)
        (n,) = entering.write(proposal)
        return proposal.proposed[0].card.id, n, "; ".join(str(found) for found in proposal.asked)

    def take_back(card: str, n: int) -> None:
        entering.undo(animals.read(Path()), card, str(n))

    rows = [(name, _last_meal(known, name)) for name in _here(known)]
    meals = _shown(Feeding(look, today.isoformat(), rows, KINDS["meal"].choices, give, take_back)) or 0
    return f"{many(meals, 'meal')} written" if rows else NO_ANIMALS


def _plan(look: Look, known: Animals, today: date) -> str:
    """Let the keeper change the plan of one species and form; return the command that gives the same."""
    from etholog.analysis import plan
    from etholog.screens.picking import Picking
    from etholog.screens.planning import Planning, Wishes

    of = {
        f"{species}, {form or 'no form told'}": ((species, form), many(len(names), "animal"))
        for (species, form), names in sorted(plan.populations(known).items())
        if species
    }
    if not of:
        return "nothing to plan: no living animal has a species on its card"
    rows = [(name, count) for name, (_, count) in of.items()]
    chosen = _shown(Picking(look, "Plan for which?", rows)) if len(of) > 1 else rows[0][0]
    if chosen is None:
        return ""
    (species, form), _ = of[chosen]
    kept = at_hand(known.folder)

    def work(wishes: Wishes) -> list["Pair"]:
        found = plan.plan(known, kept, today, species=species, form=form, forbid=wishes.forbid, fix=wishes.fix)
        return [_planned(row) for row in found.pairs.to_dict("records")]

    wishes = _shown(Planning(look, f"Proposed pairs of {chosen}, by weeks", work))
    if not wishes or not wishes.words:
        return ""
    words = ("--species", species, "--form", form, *wishes.words)
    return f"to have this plan again: etholog plan {shlex.join(words)}"


def _planned(row: dict[Hashable, Any]) -> "Pair":
    from etholog.screens.planning import Pair

    kin = "kin not known" if row["inbreeding"] != row["inbreeding"] else f"inbreeding {row['inbreeding']:.3f}"
    told = (("for", "speaks_for"), ("against", "against"), ("not known", "unknown"), ("next best", "next_best"))
    return Pair(
        str(row["male"]), str(row["female"]), f"week of {row['week']}, {kin}",
        tuple(f"{head}: {row[name]}" for head, name in told if row[name]), str(row["next_best"]), bool(row["fixed"]),
    )  # fmt: skip


def _last_meal(known: Animals, name: str) -> str:
    card = known.find(name)
    meal = card.last("meal") if card else None
    return f"last meal {meal.on.text} {meal.words}".rstrip() if meal else "no meal on the card"


def _fill_card(look: Look, known: Animals, today: date) -> str:
    """Let the keeper fill a card by a form; return what was written."""
    from etholog.screens.card_form import CardForm

    written: list[str] = []
    asked_before: list[str] = []

    def check(answers: dict[str, Any]) -> None:
        entries = _entries(answers, today)
        proposal = entering.propose(known, entries, today)
        questions = [str(found) for found in proposal.asked]
        if questions and questions != asked_before and not proposal.refused:
            asked_before[:] = questions
            raise Refusal(f"{'; '.join(questions)}. Ctrl-S again writes it all the same")
        entering.write(proposal)
        written.append(f"{answers['animal']}: {', '.join(one.entry.said for one in proposal.proposed)}")

    def suggested(question: str) -> list[str]:
        if question == "animal":
            return known.known()
        return sorted({known.species_of(name) for name in known.known()} - {""}) if question == "species" else []

    _shown(CardForm(look, suggested, check, lambda typed: _aside(known, typed["animal"].strip())))
    return "; ".join(written)


def _aside(known: Animals, name: str) -> str:
    there = name in known.known()
    return f" On record: {known.sex_of(name)}, {_known_of(known, name)}" if there else ""


def _entries(answers: dict[str, Any], today: date) -> list[NewEntry]:
    """Return what the answers put on a card: facts of today, a moult and a meal on their days."""
    name = answers.get("animal", "")
    if not name:
        raise Refusal("its name or id: without a name there is no card")
    said = {kind: str(answers[kind]) for kind in ("sex", "species", "moved", "note") if answers.get(kind)}
    entries = [Entry(0, kind, Day.of(today), words=words) for kind, words in said.items()]
    entries += [
        Entry(0, kind, _meant(kind, answers[kind], entering.day)) for kind in ("moult", "meal") if answers.get(kind)
    ]
    if answers.get("size"):
        entries.append(Entry(0, "size", Day.of(today), number=_meant("size", answers["size"], _millimetres)))
    if not entries:
        raise Refusal("give its sex or its species: an empty card tells nothing")
    return [NewEntry(name, entry) for entry in entries]


def _millimetres(typed: str) -> float:
    found = entering.quantity(typed, "mm")
    if found is None:
        raise Refusal(f"a number such as 148, or 14.8 cm; not {typed!r}")
    return found


def _meant(kind: str, typed: str, read: Callable[[str], Meant]) -> Meant:
    """Read an answer of the form's as a command reads it; what is none takes the cursor to its line."""
    from etholog.screens.card_form import QUESTIONS

    try:
        return read(typed)
    except Refusal as refusal:
        raise NotUnderstood(next(one for one in QUESTIONS if one.name == kind), str(refusal)) from None
