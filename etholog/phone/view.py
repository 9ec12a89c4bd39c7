"""What the phone shows: the lanes, totals and traces of the strip, as JSON. Times in milliseconds of the session."""

from collections.abc import Mapping
from typing import Any

from etholog.base.text import visible
from etholog.phone.messages import NOTE_LONGEST
from etholog.recording.lanes import Lane, Lanes
from etholog.recording.recorder import Recorder
from etholog.recording.taps import WORDS
from etholog.session.folding import Bout

TRACE_MS = 180_000  # so much of the past a lane shows
MOST_BOUTS = 60  # of one lane, in that time
UNDOABLE = 10


def welcome(recorder: Recorder, lanes: Lanes, about: Mapping[str, Any]) -> dict[str, Any]:
    """Return what stays the same while the session runs: its lanes in their order, and `about` it."""
    taps: dict[str, list[list[str]]] = {}
    for press in recorder.layout.values():
        code, choice = press.behaviour.code, press.choice or ""
        taps.setdefault(code, []).append([f"{code}:{choice}" if choice else code, choice])
    return {
        "do": "welcome",
        "session": recorder.journal.path.stem,
        "trace": TRACE_MS,
        "acts": WORDS,
        "note": NOTE_LONGEST,
        "rescue": [visible(line) for line in recorder.rescue_lines],
        "lanes": [_about(lane, taps[lane.behaviour.code]) for lane in lanes.lanes if lane.keys],
        **about,
    }


def _about(lane: Lane, taps: list[list[str]]) -> dict[str, Any]:
    one = lane.behaviour
    return {
        "code": one.code,
        "label": visible(one.words),
        "actor": one.actor,
        "kind": one.kind,
        "stage": one.stage or "",
        "chain": one.chain or "",
        "ends": list(one.ends),
        "within": one.within or "",
        "taps": taps,
        "other": len(one.choices) == 2 or one.resembles is not None,
    }


def now(recorder: Recorder, lanes: Lanes, t: int, said: str) -> dict[str, Any]:
    """Return what changes: what ran and runs in each lane, what can be corrected, what was `said` last."""
    live, gap = recorder.live, recorder.live.folding.gap
    last = live.last
    hand = None if last is None else [last["n"], visible(live.told(last["n"])), recorder.other_meaning() is not None]
    return {
        "do": "now",
        "t": t,
        "stage": live.stage,
        "gap": None if gap is None else [gap.onset, visible(gap.why)],
        "lanes": {lane.behaviour.code: _state(lane, t) for lane in lanes.lanes if lane.keys},
        "undo": [[n, visible(text)] for n, text in recorder.undoable(UNDOABLE)],
        "hand": hand,
        "rescues": live.rescues,
        "trouble": visible(recorder.journal.trouble or ""),
        "said": visible(said),
    }


def _state(lane: Lane, t: int) -> list[Any]:
    shown: list[list[Any]] = []
    for bout in reversed(lane.bouts[-MOST_BOUTS:]):
        if bout.offset < t - TRACE_MS:
            break
        shown.append(_drawn(bout))
    running = [_drawn(bout) for bout in lane.running]
    return [lane.count, lane.ended_ms, running, shown]


def _drawn(bout: Bout) -> list[Any]:
    return [bout.onset, bout.offset, bout.sure, (bout.qualifier or "")[:20]]
