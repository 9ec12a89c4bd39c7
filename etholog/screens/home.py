"""The home screen: what is due, the last sessions, and each command one key away, told beside its key."""

from collections.abc import Sequence
from datetime import date
from typing import ClassVar, NamedTuple

from textual import events
from textual.app import App, ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.widgets import Static

from etholog.animals import Animals
from etholog.animals.care import Task
from etholog.base.text import visible

DUE_SHOWN, SESSIONS_SHOWN = 9, 6


class Way(NamedTuple):
    """One key of the home screen: what it is for, and the command that it stands for."""

    key: str
    what: str
    words: tuple[str, ...]


WAYS = (
    Way("w", "watch a pairing", ("watch",)),
    Way("d", "all that is due", ("due",)),
    Way("c", "browse the cards", ("card", "--browse")),
    Way("l", "courtship latencies by male", ("latency", "courtship", "--by", "male")),
    Way("o", "which pairings gave sacs", ("outcome",)),
    Way("r", "the season's report", ("report", "--season")),
    Way("k", "check every file", ("check",)),
    Way("x", "try it on invented animals", ("demo",)),
)


class Home(App[tuple[str, ...]], inherit_bindings=False):
    """Returns the words of the command that was chosen, or None when the keeper leaves."""

    CSS = """
    Screen { padding: 1 2; }
    #due { width: 3fr; padding-right: 2; }
    #side { width: 2fr; }
    .head { text-style: bold; }
    #alarms { text-style: bold reverse; height: auto; }
    #ways { height: auto; padding-top: 1; }
    Horizontal { height: 1fr; }
    """
    ENABLE_COMMAND_PALETTE = False
    AUTO_FOCUS = None
    BINDINGS: ClassVar[list[BindingType]] = []

    def __init__(self, animals: Animals, tasks: Sequence[Task], today: date, alarms: Sequence[str] = ()) -> None:
        super().__init__()
        self._alarms = alarms
        self._animals, self._tasks, self._today = animals, tasks, today

    def compose(self) -> ComposeResult:
        """Lay the desk out."""
        yield Static(f"etholog  {self._today}   {visible(str(self._animals.folder.resolve()))}", markup=False)
        if self._alarms:
            yield Static("\n".join(map(visible, self._alarms)), id="alarms", markup=False)
        with Horizontal():
            with Vertical(id="due"):
                yield Static(f"\nDUE: {len(self._now)} (all of it: d)", classes="head", markup=False)
                yield Static(self._due(), markup=False)
            with Vertical(id="side"):
                yield Static("\nLAST SESSIONS", classes="head", markup=False)
                yield Static(self._sessions(), markup=False)
        rows = [f" {way.key}  {way.what:<30} etholog {' '.join(way.words)}" for way in WAYS]
        yield Static("\n".join([*rows, " q  leave"]), id="ways", markup=False)

    def on_key(self, event: events.Key) -> None:
        """Take a way, or leave."""
        if event.key in ("q", "escape", "ctrl+c", "ctrl+q"):
            self.exit(None)
        for way in WAYS:
            if event.character == way.key:
                self.exit(way.words)

    @property
    def _now(self) -> list[Task]:
        # A sac can't wait; a meal can.
        return sorted((t for t in self._tasks if t.first <= self._today), key=lambda t: (t.until_done, t.first))

    def _due(self) -> str:
        rows = [visible(f"{task.animal:<10} {task.what}") for task in self._now[:DUE_SHOWN]]
        return "\n".join(rows) or "nothing today"

    def _sessions(self) -> str:
        met = [pairing for pairing in self._animals.pairings if pairing.file][-SESSIONS_SHOWN:]
        rows = [f"{p.on.text} {p.male} x {p.female}\n  {p.evidence.words}" for p in reversed(met)]
        return "\n".join("\n".join(visible(line) for line in row.split("\n")) for row in rows) or "none yet: press w"
