"""The plan on the desk: walk along the proposed pairs, forbid one, fix one, take the next best; it is computed anew."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from textual import events
from textual.app import ComposeResult
from textual.widgets import Static

from etholog.base.refusal import Refusal
from etholog.base.text import visible, visible_lines
from etholog.screens.packed import Packed
from etholog.screens.roster import Roster
from etholog.screens.themed import ThemedApp
from etholog.screens.themes import Look

Couple = tuple[str, str]


@dataclass(frozen=True)
class Pair:
    """A proposed pair as it is shown: when, of how kin parents, and what speaks for and against it."""

    male: str
    female: str
    shown: str
    details: tuple[str, ...]
    next_best: str
    fixed: bool


@dataclass(frozen=True)
class Wishes:
    """What the keeper changed: pairs that are not to be, and pairs that are."""

    forbid: tuple[Couple, ...] = ()
    fix: tuple[Couple, ...] = ()

    def without(self, couple: Couple) -> "Wishes":
        """Return the wishes with none about this pair."""
        return Wishes(
            tuple(one for one in self.forbid if one != couple), tuple(one for one in self.fix if one != couple)
        )

    @property
    def words(self) -> tuple[str, ...]:
        """The options that say the same on the command line."""
        told = [("--forbid", one) for one in self.forbid] + [("--fix", one) for one in self.fix]
        return tuple(word for option, couple in told for word in (option, ":".join(couple)))


Work = Callable[[Wishes], Sequence[Pair]]


class Planning(ThemedApp):
    """Its result are the keeper's wishes. `work` computes the pairs; a Refusal of it is shown, and the wish dropped."""

    CSS = (
        ThemedApp.CSS
        + "#said { height: auto; min-height: 1; } #details { height: 6; padding-top: 1; } #foot { color: $faint; }"
    )

    def __init__(self, look: Look, title: str, work: Work) -> None:
        super().__init__(look)
        self._title_line, self._work = title, work
        self._wishes: list[Wishes] = [Wishes()]
        self._pairs = list(work(self._wishes[-1]))

    def compose(self) -> ComposeResult:
        """Lay the plan out."""
        yield Packed(self._title_line, id="title")
        yield Static(id="said", markup=False)
        yield Roster(self._rows())
        yield Static(id="details", markup=False)
        yield Packed(
            "x not these two", "f these two, fixed", "n the next best male", "Backspace takes a change back",
            "Up and Down walk", "Esc leaves", id="foot",
        )  # fmt: skip

    def on_mount(self) -> None:
        """Show what speaks for and against the first pair."""
        self._show("" if self._pairs else "no two are free to meet in this time")

    def on_key(self, event: events.Key) -> None:
        """Change the plan, walk, or leave."""
        roster = self.query_one(Roster)
        said = ""
        if event.key in ("escape", "ctrl+c", "ctrl+q"):
            self.exit(self._wishes[-1])
            return
        if event.key == "backspace":
            said = self._take_back(roster)
        elif event.character in ("x", "f", "n") and self._pairs:
            said = self._change(roster, event.character or "")
        elif not roster.take(event):
            return
        self._show(said)

    def _rows(self) -> list[tuple[str, str]]:
        return [(f"{one.male} x {one.female}", one.shown + (", fixed" if one.fixed else "")) for one in self._pairs]

    def _change(self, roster: Roster, key: str) -> str:
        pair = self._pairs[roster.at]
        couple, now = (pair.male, pair.female), self._wishes[-1]
        if key == "n" and not pair.next_best:
            return f"no other male is free when {pair.female} is"
        if key == "f" and pair.fixed:
            wished, said = now.without(couple), "no longer fixed"
        elif key == "f":
            wished, said = Wishes(now.forbid, (*now.fix, couple)), "fixed"
        else:
            rest = now.without(couple)
            wished, said = Wishes((*rest.forbid, couple), rest.fix), "forbidden"
        if key == "n":
            other = (pair.next_best, pair.female)
            wished = Wishes(wished.without(other).forbid, (*wished.fix, other))
            said = f"instead of {pair.male}: {pair.next_best}"
        try:
            pairs = list(self._work(wished))
        except Refusal as refusal:
            return str(refusal)
        self._wishes.append(wished)
        self._put(roster, pairs, pair.female)
        return f"{pair.male} x {pair.female}: {said}; computed anew"

    def _take_back(self, roster: Roster) -> str:
        if len(self._wishes) == 1:
            return "nothing left to take back"
        self._wishes.pop()
        female = self._pairs[roster.at].female if self._pairs else ""
        self._put(roster, list(self._work(self._wishes[-1])), female)
        return "taken back; computed anew"

    def _put(self, roster: Roster, pairs: list[Pair], female: str) -> None:
        """Show other pairs, the one of the same female in hand."""
        self._pairs = pairs
        roster.rows[:] = self._rows()
        at = next((at for at, one in enumerate(pairs) if one.female == female), 0)
        roster.walk(at - roster.at)

    def _show(self, said: str) -> None:
        self.query_one("#said", Static).update(f" {visible(said)}")
        at = self.query_one(Roster).at
        lines = self._pairs[at].details if at < len(self._pairs) else ()
        self.query_one("#details", Static).update(visible_lines(f" {line}" for line in lines))
