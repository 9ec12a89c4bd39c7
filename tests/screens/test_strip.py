"""The strip's geometry against a slow and obvious drawing of the same bouts, cell by cell."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from etholog.ethogram import Behaviour, Choice
from etholog.recording.lanes import Lane
from etholog.screens.strip import PLAIN, ruler, trace
from etholog.session.folding import Bout, Span

EVENT = Behaviour(code="answers", label="she answers", actor="female", kind="event", definition="x", source="x")
STATE = replace(EVENT, kind="state")
SIDES = replace(STATE, chain="palps", choices=(Choice(name="left"), Choice(name="right")))
BOTH = replace(STATE, choices=(Choice(name="left"), Choice(name="right")))

lengths = st.lists(
    st.tuples(st.integers(0, 9000), st.integers(0, 9000), st.sampled_from(["left", "right"])), max_size=60
)


def bouts_of(lengths: list[tuple[int, int, str]], behaviour: Behaviour) -> list[Bout]:
    """Bouts one after another, each after a pause; of an event, with no length."""
    found, t = [], 0
    for n, (pause, length, side) in enumerate(lengths):
        t += pause
        end = t if behaviour.kind == "event" else t + length
        found.append(Bout(n, behaviour.code, side if behaviour.choices else None, t, end, n % 3 > 0, n % 5 > 0))
        t = end
    return found


def obvious(behaviour: Behaviour, bouts: list[Bout], now: int, columns: int, scale: int) -> str:
    left = now // scale - columns + 1
    row = ""

    def beside(bout: Bout, cell: int) -> bool:
        return not bout.sure and bout.qualifier is not None and cell == max(bout.onset // scale, left) + 1

    for cell in range(left, left + columns):
        here = [b for b in bouts if b.onset // scale <= cell <= b.offset // scale]
        if not here:
            before = [b for b in bouts if b.onset // scale <= cell - 1 <= b.offset // scale]
            row += "?" if behaviour.kind == "state" and before and beside(before[-1], cell) else " "
        elif behaviour.kind == "event":
            row += "|" if len(here) == 1 else str(min(len(here), 9))
        else:
            last = here[-1]
            begins = last.onset // scale == cell or cell == left  # its start, or where it enters the window
            stroke = "=" if last.whole else "-"
            head = (last.qualifier or "")[:1].upper() or stroke
            row += (head if last.sure or last.qualifier else "?") if begins else "?" if beside(last, cell) else stroke
    return row


@given(lengths, st.sampled_from([EVENT, STATE, SIDES]), st.integers(1, 30), st.sampled_from([500, 2000, 60_000]))
def test_a_trace_is_what_cell_by_cell_drawing_gives(
    lengths: list[tuple[int, int, str]], behaviour: Behaviour, columns: int, scale: int
) -> None:
    bouts = bouts_of(lengths, behaviour)
    now = bouts[-1].offset + 1500 if bouts else 0
    drawn = trace(Lane(behaviour, "k", bouts), now, columns, PLAIN, scale)
    assert drawn == obvious(behaviour, bouts, now, columns, scale)


def test_a_long_bout_below_short_ones_of_the_other_choice_is_seen() -> None:
    long = Bout(0, "x", "left", 0, 60_000, True, True)
    others = [Bout(n, "x", "right", n * 100, n * 100 + 50, True, True) for n in range(1, 9)]
    drawn = trace(Lane(BOTH, "k", [long, *others]), 60_000, 10, PLAIN, 2000)
    assert drawn == "L" + "=" * 9


def test_gaps_are_shaded_and_marks_stand_on_them() -> None:
    lane = Lane(EVENT, "k", [Bout(1, "answers", None, 9000, 9000, True, True)])
    assert trace(lane, 19_000, 10, PLAIN, 2000, [Span(6000, 14_000, "")]) == "   :|::   "


def test_the_ruler_tells_times_and_where_the_cursor_is() -> None:
    assert ruler(59_000, 30, 2000, [(20_000, "V")]) == "0:00:00   V    0:00:30        "
