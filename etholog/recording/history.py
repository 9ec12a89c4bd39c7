"""What Backspace takes back, told from the records alone: so a session that was broken off goes on where it was."""

from collections.abc import Mapping, Sequence
from typing import Any

from etholog.ethogram.own_keys import Act, Where, act_of

Group = tuple[int, ...]  # records that one undo takes back together
Record = Mapping[str, Any]


def history(records: Sequence[Record]) -> tuple[list[Group], list[tuple[Group, Group]]]:
    """Return what can be taken back, last thing last, and what was taken back and can be brought back: the undos, and
    what they took back.

    What the program itself wrote (a prompt, a gap while it was away) is no one's to take back.
    """
    done: list[Group] = []
    undone: list[tuple[Group, Group]] = []
    by_number = {record["n"]: record for record in records}
    times: dict[int, int] = {}  # of what was moved
    keyed_gap = True  # whether the gap of now was keyed
    slip: Group = ()  # the undo of a mark that should have ended what ran
    at = 0
    while at < len(records):
        record, after = records[at], records[at + 1] if at + 1 < len(records) else {}
        n, do = record["n"], record["do"]
        length = 1
        if do == "undo" and _ended_instead(by_number.get(record["of"], {}), times, after):
            slip = (n,)
        elif do == "undo" and done and record["of"] == done[-1][0]:
            length = len(done[-1])
            undos = tuple(one["n"] for one in records[at : at + length])
            taken_back = done.pop()
            if not _was_held(by_number[taken_back[-1]], records[at + length :]):
                undone.append((undos, taken_back))
        elif do == "undo" and undone and record["of"] == undone[-1][0][0]:
            undos, taken_back = undone.pop()
            length = len(undos)
            done.append(taken_back)
        elif do == "undo" and done and by_number[done[-1][-1]]["do"] == "recode" and done[-1][-1] == n - 1:
            done[-1] = (n, *done[-1])  # of a state that became an event, the end
        elif do == "undo" and (group := next((one for one in reversed(done) if one[0] == record["of"]), None)):
            length = len(group)  # one that was not the last, from a phone that had not heard of the others
            done.remove(group)
            undone.append((tuple(one["n"] for one in records[at : at + length]), group))
        elif do in ("mark", "stray", "note", "sync", "rescue", "move", "recode", "doubt", "gap", "back"):
            if do == "move":
                times[record["of"]] = record["t"]
            if do == "move" and _mends_gap(record, after, by_number):
                at += 1
                continue
            if do == "doubt" and _of_unsure_tap(record, after, records[at + 2 : at + 3]):
                done[-1] = (after["n"], n, *done[-1])
                at += 2
                continue
            if do == "gap":
                keyed_gap = not record["why"]
            # After a break the program says itself that somebody watches again, and puts the wall's time to it; a key
            # that does so makes a mark at that moment, too.
            keyed = after.get("do") == "mark" and after["t"] == record.get("t")
            own = do == "back" and "wall" in record and not keyed
            if (keyed_gap and not own) or do not in ("gap", "back"):
                before = by_number[done[-1][-1]] if done else {}
                if _goes_with(before, record, by_number):
                    done[-1] = (*done[-1], n)
                else:
                    done.append((*slip, n))
                undone.clear()
            keyed_gap = keyed_gap or do == "back"
            slip = ()
        at += length
    return done, undone


def _mends_gap(move: Record, after: Record, by_number: Mapping[int, Record]) -> bool:
    """Tell whether the program itself moved an end of a gap, since a tap that came late was made within it."""
    of_gap = by_number.get(move["of"], {}).get("do") in ("gap", "back")
    return of_gap and not (after.get("do") == "move" and after["t"] == move["t"])


def _of_unsure_tap(doubt: Record, after: Record, then: Sequence[Record]) -> bool:
    """Tell whether a doubt and the note after it came with the mark of a tap whose clock was never compared."""
    of_one_mark = after.get("do") == "note" and after.get("of") == doubt["of"]
    return of_one_mark and any(one["do"] == "tap" and {doubt["of"], doubt["n"]} <= {*one["made"]} for one in then)


def _ended_instead(slip: Record, times: Mapping[int, int], after: Record) -> bool:
    """Tell whether a mark was taken back because another, at the same moment, should have been pressed."""
    if slip.get("do") not in ("mark", "stray") or after.get("do") != "mark":
        return False
    return bool(after.get("edge") == "offset" and after["t"] == times.get(slip["n"], slip["t"]))


_MADE_BY = {
    Act.EARLIER: ("move",),
    Act.OTHER: ("recode", "mark"),
    Act.DOUBT: ("doubt",),
    Act.AWAY: ("gap", "back"),
    Act.RESCUE: ("rescue",),
    Act.SYNC: ("sync",),
    None: ("mark", "stray", "back", "recode"),
}


def _was_held(taken_back: Record, following: Sequence[Record]) -> bool:
    """Tell whether the undos before these records were of a key that turned out to be held down."""
    repeat = next((record for record in following if record["do"] != "undo"), {})
    if repeat.get("do") != "repeat":
        return False
    return taken_back["do"] in _MADE_BY.get(act_of(repeat["key"], Where.STRIP), ())


def _goes_with(before: Record, record: Record, by_number: Mapping[int, Record]) -> bool:
    """Tell whether two corrections came of one key: of both ends of a bout, or of a mark and the gap that it ends."""
    if before.get("do") != record["do"] or before["n"] != record["n"] - 1 or before.get("of") == record.get("of"):
        return False
    if record["do"] == "move":
        return bool(by_number[before["of"]]["do"] == "back" and before["t"] == record["t"])
    same = all(before.get(name) == record.get(name) for name in ("code", "qualifier", "sure"))
    return record["do"] in ("recode", "doubt") and same
