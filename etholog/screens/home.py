"""The desk: what is due, the last sessions, and each job one key away, told beside its key."""

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.widgets import Static

from etholog.animals import Animals
from etholog.animals.care import Task
from etholog.base.text import visible, visible_lines
from etholog.screens.fit import padded, wrapped
from etholog.screens.themed import ThemedApp
from etholog.screens.themes import Look

SESSIONS_SHOWN = 6
AROUND_DUE = 5  # the lines above and below what is due: edges, a head, blanks
NAME_WIDTH = 10  # of the animals before what is due
NO_ANIMALS = "no animals yet: press a"
WIDE = 84  # columns from which on the commands stand beside their keys


class Way(NamedTuple):
    """One key of the desk: what it is for, and the command that does the same; `paged` where that prints much."""

    key: str
    what: str
    words: tuple[str, ...]
    paged: bool = False


RESUME = Way("g", "go on with the session that was broken off", ("resume",))
NEW = Way("n", "make a workspace here", ("new",))
CARD = Way("a", "begin or fill a card", ("card",))
FEED = Way("f", "a feeding round", ("card", "ANIMAL", "meal"))
READY = Way("y", "may these two pair?", ("ready",), True)
PLAN = Way("p", "plan the pairings", ("plan",))
DEMO = Way("x", "a demo, all invented", ("demo",))
WAYS = (
    Way("w", "watch a pairing", ("watch",)),
    READY,
    PLAN,
    FEED,
    CARD,
    Way("d", "all that is due", ("due",), True),
    Way("c", "browse the cards", ("card", "--browse")),
    Way("l", "how soon males court", ("latency", "courtship", "--by", "male"), True),
    Way("o", "pairings and sacs", ("outcome",), True),
    Way("r", "the season's report", ("report", "--season")),
    Way("k", "check every file", ("check",), True),
    DEMO,
)


class Home(ThemedApp):
    """Its result is the way that was chosen, or None when the keeper leaves.

    `broken_off`: sessions that were never ended, the latest first. `said`: what came of the last way.
    """

    CSS = (
        ThemedApp.CSS
        + """
    Screen { padding: 1 2; overflow: hidden; }
    #due { width: 3fr; padding-right: 2; }
    #side { width: 2fr; }
    Home .head, #broken { text-style: bold; height: auto; }
    #alarms { text-style: bold reverse; height: auto; }
    #said { height: auto; }
    #ways { height: auto; padding-top: 1; dock: bottom; }
    Horizontal { height: 1fr; }
    """
    )

    def __init__(
        self,
        look: Look,
        animals: Animals,
        tasks: Sequence[Task],
        today: date,
        alarms: Sequence[str] = (),
        broken_off: Sequence[str] = (),
        said: str = "",
    ) -> None:
        super().__init__(look)
        self._alarms, self._unended, self._said = alarms, broken_off, said
        self._animals, self._tasks, self._today = animals, tasks, today
        # What can be done here: in a folder that is not a workspace yet, that comes first.
        self.ways: tuple[Way, ...] = (*((RESUME,) if broken_off else ()), *WAYS)
        if not any((animals.folder / part).is_dir() for part in ("sessions", "animals")):
            self.ways = NEW, DEMO

    def compose(self) -> ComposeResult:
        """Lay the desk out."""
        for name in self._above:
            yield Static(id=name, markup=False)
        if NEW in self.ways:
            yield Static("\nThis folder is not a workspace yet.", markup=False)
            yield Static(id="ways", markup=False)
            return
        with Horizontal():
            with Vertical(id="due"):
                yield Static(f"\nDUE: {len(self._now)} (all of it: d)", classes="head", markup=False)
                yield Static(id="tasks", markup=False)
            with Vertical(id="side"):
                yield Static("\nLAST SESSIONS", classes="head", markup=False)
                yield Static(id="sessions", markup=False)
        yield Static(id="ways", markup=False)

    @property
    def _above(self) -> dict[str, str]:
        """What stands above the rest, by its name here; what says nothing is left out."""
        last, more = next(iter(self._unended), ""), len(self._unended) - 1
        others = f" ({more} more: etholog check)" if more > 0 else ""
        said = {
            "broken": visible(f"g goes on with {last}, which was broken off{others}") if last else "",
            "folder": f"etholog  {self._today}   {visible(self._animals.folder.resolve().name)}",
            "alarms": visible_lines(self._alarms),
            "said": visible(self._said),
        }
        return {name: text for name, text in said.items() if text}

    def on_resize(self, event: events.Resize) -> None:
        """Fit the words to the window: with less room the commands go first, no word is broken."""
        width = max(20, event.size.width - 4)
        ways = [way for way in self.ways if way != RESUME]  # the first line tells of it
        rows = [f"{way.key}  {way.what}" for way in (*ways, Way("q", "leave", ()))]
        if width >= WIDE:
            words = [" ".join(way.words) for way in ways]
            rows = [f"{row:<30} etholog {command}" for row, command in zip(rows, words, strict=False)] + rows[-1:]
            shown = rows
        else:
            half = -(-len(rows) // 2)
            pairs = zip(rows[:half], [*rows[half:], ""], strict=False)
            wide = max(map(len, rows)) + 2
            two = width >= 2 * wide - 2
            shown = [f"{a:<{wide}}{b}".rstrip() for a, b in pairs] if two else rows
        self.query_one("#ways", Static).update(visible_lines(shown))
        above = {name: wrapped(text, width) for name, text in self._above.items()}
        for name, text in above.items():
            self.query_one(f"#{name}", Static).update(text)
        if NEW in self.ways:
            return
        room = event.size.height - len(shown) - sum(text.count("\n") + 1 for text in above.values()) - AROUND_DUE
        self.query_one("#tasks", Static).update(self._due(3 * width // 5 - 2, room))
        self.query_one("#sessions", Static).update(self._sessions(2 * width // 5, room))

    def on_key(self, event: events.Key) -> None:
        """Take a way, or leave."""
        if event.key in ("q", "escape", "ctrl+c", "ctrl+q"):
            self.exit(None)
        for way in self.ways:
            if event.character == way.key:
                self.exit(way)

    @property
    def _now(self) -> list[Task]:
        return [task for task in self._tasks if task.first <= self._today]

    def _due(self, width: int, room: int) -> str:
        """Return what is due in lines of `width`; of what finds no room, how many there are."""
        lines: list[str] = []
        for at, task in enumerate(self._now):
            late = f", overdue since {task.last}" if task.last < self._today else ""
            name = visible(task.animal)
            row = f"{padded(name, NAME_WIDTH)} {visible(task.what)}{late}"
            row_lines = wrapped(row, width, NAME_WIDTH + 1).split("\n")
            left = len(self._now) - at
            if lines and len(lines) + len(row_lines) > room - (left > 1):
                return "\n".join([*lines, f"... and {left} more"])
            lines += row_lines
        if not lines and not self._animals.known():
            return NO_ANIMALS
        return "\n".join(lines) or "nothing today"

    def _sessions(self, width: int, room: int) -> str:
        """Return the last sessions, as many as stand whole in so many lines of `width`."""
        met = [pairing for pairing in self._animals.pairings if pairing.file][-SESSIONS_SHOWN:]
        lines: list[str] = []
        for p in reversed(met):
            said = f"{p.on.text} {p.mate_of(p.female)} x {p.mate_of(p.male)}", f"  {p.evidence.words}"
            row = [part for line in said for part in wrapped(visible(line), width, 2).split("\n")]
            if lines and len(lines) + len(row) > room:
                break
            lines += row
        return "\n".join(lines) or "none yet: press w"
