"""The fold and the session's file, by properties that hold for any list of records."""

import contextlib
import json
import zlib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter

from etholog import session
from etholog.base import journal
from etholog.base.journal import Journal
from etholog.base.refusal import Refusal
from etholog.ethogram import from_plain
from etholog.session.folding import fold, undone
from etholog.session.record import Record
from tests.make import ETHOGRAM, RECORDS, marks, write_session

CODES = ["walking", "drumming", "clasp", "insertion", "probing", "touch", "flees", "hidden", "nonsense"]


@st.composite
def records(draw: st.DrawFn) -> list[dict[str, Any]]:
    made: list[dict[str, Any]] = []
    t = 0
    for n in range(1, draw(st.integers(0, 40)) + 1):
        t += draw(st.integers(0, 5000))
        do = draw(
            st.sampled_from(["mark"] * 8 + ["undo", "undo", "move", "recode", "doubt", "gap", "back", "stray", "note"])
        )
        record: dict[str, Any] = {"n": n, "do": do}
        of = draw(st.integers(0, n - 1))
        code = draw(st.sampled_from(CODES))
        if do == "mark":
            record |= {"t": t, "code": code}
            if code not in ("touch", "flees"):
                record["edge"] = draw(st.sampled_from(["onset", "offset"]))
        elif do == "undo":
            record["of"] = of
        elif do == "move":
            record |= {"of": of, "t": draw(st.integers(0, t))}
        elif do == "recode":
            record |= {"of": of, "code": code}
        elif do == "doubt":
            record |= {"of": of, "sure": draw(st.booleans())}
        else:
            record |= {"t": t} | {"gap": {"why": "w"}, "stray": {"key": "x"}, "note": {"text": "y"}}.get(do, {})
        if do in ("mark", "recode") and code == "insertion":
            record["qualifier"] = draw(st.sampled_from(["left", "right"]))
        made.append(record)
    if draw(st.booleans()):
        made.append({"n": len(made) + 1, "do": "close", "t": t, "outcome": {}})
    return made


def lane(code: str, qualifier: str | None) -> object:
    return ETHOGRAM.by_code[code].chain or (code, qualifier)


@pytest.mark.slow
@settings(max_examples=400)
@given(records())
def test_bouts_never_overlap_in_a_chain_and_never_run_backwards(made: list[dict[str, Any]]) -> None:
    folded = fold(ETHOGRAM, made)
    ends: dict[object, int] = {}
    for bout in folded.bouts:
        assert 0 <= bout.onset <= bout.offset <= folded.end
        if ETHOGRAM.by_code[bout.code].kind == "state":
            assert bout.onset >= ends.get(lane(bout.code, bout.qualifier), 0)
            ends[lane(bout.code, bout.qualifier)] = bout.offset


@pytest.mark.slow
@settings(max_examples=400)
@given(records())
def test_no_state_runs_through_a_gap(made: list[dict[str, Any]]) -> None:
    folded = fold(ETHOGRAM, made)
    for gap in folded.gaps:
        for bout in folded.bouts:
            assert not (bout.onset < gap.onset < bout.offset)


@pytest.mark.slow
@settings(max_examples=400)
@given(records())
def test_undoing_everything_gives_nothing(made: list[dict[str, Any]]) -> None:
    kept = [record for record in made if record["do"] not in ("undo", "close")]
    last = max((record["n"] for record in made), default=0)
    back = [{"n": last + 1 + i, "do": "undo", "of": record["n"]} for i, record in enumerate(reversed(kept))]
    folded = fold(ETHOGRAM, kept + back)
    assert not folded.bouts
    assert not folded.gaps
    assert not folded.said
    assert folded.marks == 0


@pytest.mark.slow
@settings(max_examples=200)
@given(records())
def test_an_undo_taken_back_changes_nothing(made: list[dict[str, Any]]) -> None:
    before = fold(ETHOGRAM, made)
    last = max((record["n"] for record in made), default=0)
    for record in made:
        if record["do"] == "mark":
            there_and_back = [
                {"n": last + 1, "do": "undo", "of": record["n"]},
                {"n": last + 2, "do": "undo", "of": last + 1},
            ]
            if record["n"] in undone(made):
                continue
            assert fold(ETHOGRAM, made + there_and_back).bouts == before.bouts


@pytest.mark.slow
@settings(max_examples=60, deadline=None)
@given(made=records())
def test_what_is_written_reads_back_to_the_same_fold(
    made: list[dict[str, Any]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("s") / "a.jsonl"
    write_session(path, made)
    read = session.read(path)
    assert not read.findings
    assert read.ethogram == ETHOGRAM
    assert read.fold == fold(ETHOGRAM, made)


def test_a_chain_ends_its_sibling_and_a_parent_its_children() -> None:
    folded = fold(
        ETHOGRAM,
        marks(
            (1000, "walking", "onset"),
            (2500, "drumming", "onset"),
            (4000, "clasp", "onset"),
            (5000, "probing", "onset"),
            (7000, "insertion", "onset"),
            (9000, "flees", None),
            (9500, "touch", None),
        ),
    )
    assert [(b.code, b.onset, b.offset, b.whole) for b in folded.bouts] == [
        ("walking", 1000, 2500, True),
        ("drumming", 2500, 9000, True),
        ("clasp", 4000, 9000, True),
        ("probing", 5000, 7000, True),
        ("insertion", 7000, 9000, True),
        ("flees", 9000, 9000, True),
        ("touch", 9500, 9500, True),
    ]
    assert not folded.remarks


def at(n: int, do: str, t: int, **more: Any) -> dict[str, Any]:
    return {"n": n, "do": do, "t": t, **more}


def test_a_gap_told_of_twice_is_one_from_its_first_moment_on() -> None:
    walking = marks((1000, "walking", "onset"))
    folded = fold(ETHOGRAM, [*walking, at(2, "gap", 5000, why="door"), at(3, "gap", 7000, why=""), at(4, "back", 9000)])
    assert folded.gaps == [(5000, 9000, "door")]
    assert [(b.onset, b.offset, b.whole) for b in folded.bouts] == [(1000, 5000, False)]


def test_the_end_of_one_side_is_none_of_the_other_and_without_a_side_of_whichever_runs() -> None:
    sides = {"qualifier": "side", "choices": [{"name": "left"}, {"name": "right"}], "chain": None, "within": None}
    plain = ETHOGRAM.plain()
    alone = [b | (sides if b["code"] == "probing" else {}) for b in plain["behaviour"]]
    for ethogram, code in ((ETHOGRAM, "insertion"), (from_plain(plain | {"behaviour": alone}), "probing")):
        began = [at(1, "mark", 0, code="clasp", edge="onset"), at(2, "mark", 1000, code=code, edge="onset")]
        began[1]["qualifier"] = "left"
        other = fold(ethogram, [*began, at(3, "mark", 2000, code=code, edge="offset", qualifier="right")])
        assert [str(remark).split(": ", 1)[1] for remark in other.remarks] == [f"{code!r} ended without having begun"]
        assert not other.bouts[-1].whole
        either = fold(ethogram, [*began, at(3, "mark", 2000, code=code, edge="offset"), at(4, "stray", 3000, key="x")])
        assert not either.remarks
        assert (either.bouts[-1].code, either.bouts[-1].offset, either.bouts[-1].whole) == (code, 2000, True)


def test_a_session_is_watched_until_its_close_and_until_what_came_after_it() -> None:
    walking = marks((1000, "walking", "onset"), (2000, "touch", None))
    move = {"n": 3, "do": "move", "of": 2, "t": 9000}
    assert fold(ETHOGRAM, [*walking, at(3, "close", 5000, outcome={})]).end == 5000
    assert fold(ETHOGRAM, [*walking, move, at(4, "close", 5000, outcome={})]).end == 9000
    # Never closed: somebody watched while keys came. Where a mark was put for a while, nobody need have been.
    assert fold(ETHOGRAM, [*walking, at(3, "stray", 6000, key="x"), {"n": 4, "do": "undo", "of": 3}]).end == 6000
    assert fold(ETHOGRAM, [*walking, move]).end == 9000
    assert fold(ETHOGRAM, [*walking, move, {"n": 4, "do": "undo", "of": 3}]).end == 2000


def test_what_makes_no_sense_is_told_and_never_raised() -> None:
    folded = fold(ETHOGRAM, marks((1, "clasp", "offset"), (2, "insertion", "onset"), (3, "nonsense", None)))
    assert [str(remark).split(": ", 1)[1] for remark in folded.remarks] == [
        "'clasp' ended without having begun",
        "'insertion' at 0.0 s, outside any 'clasp'",
        "'nonsense' is not in this session's ethogram; left out",
    ]


@pytest.mark.parametrize(
    ("bad", "where"),
    [
        ({"do": "mark", "t": -1, "code": "walking"}, "t"),
        ({"do": "mark", "t": 1.5, "code": "walking"}, "t"),
        ({"do": "mark", "t": 1}, "code"),
        ({"do": "mark", "t": 1, "code": "walking", "surprise": 1}, "surprise"),
        ({"do": "dance", "t": 1}, "do"),
    ],
)
def test_a_nonsense_record_is_left_out_and_named(tmp_path: Path, bad: dict[str, Any], where: str) -> None:
    path = tmp_path / "a.jsonl"
    write_session(path, [*marks((1, "walking", "onset")), bad, {"do": "note", "t": 5, "text": "after"}])
    read = session.read(path)
    assert [record["do"] for record in read.records] == ["mark", "note"]
    assert len(read.findings) == 1
    assert str(read.findings[0]).startswith(f"{path}: record 2: ")
    assert where in str(read.findings[0])


def test_a_session_without_a_sound_header_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    Journal.create(path, {"format": "etholog-session/1", "id": "a"}).close()
    with pytest.raises(Refusal, match="no ethogram"):
        session.read(path)
    path = tmp_path / "b.jsonl"
    Journal.create(path, {"format": "etholog-session/2", "ethogram": ETHOGRAM.plain()}).close()
    with pytest.raises(Refusal, match="line 1"):
        session.read(path)


@pytest.mark.parametrize(("name", "value"), [("male", "x" * 300), ("conditions", {"temperature_c": float("nan")})])
def test_a_header_that_cannot_be_kept_is_refused_before_anything_is_made(tmp_path: Path, name: str, value: Any) -> None:
    with pytest.raises(Refusal, match=f"can't be kept: {name}"):
        write_session(tmp_path / "a.jsonl", [], **{name: value})
    assert not list(tmp_path.iterdir())


MEMBERS = st.sampled_from(
    [
        b'"code":"walking"', b'"code":"w\\u0061lking"', b'"code":"\xc3\xa9"', b'"code":"\xff"', b'"code":7',
        b'"edge":"onset"', b'"edge":"dance"', b'"qualifier":"left"', b'"wall":"2026-03-03T21:00:00+01:00"', b'"x":1',
        b'"t":5', b'"t":2', b'"\\u0074":4', b'"n":9', b'"n":1', b'"do":"mark"', b'"do":"stray"', b'"t":1}',
    ]
)  # fmt: skip


@pytest.mark.slow
@settings(max_examples=400, deadline=None)
@given(
    rows=st.lists(
        st.tuples(
            st.sampled_from([b"0", b"7", b"10000000000", b"10000000001", b"-1", b"07", b"1.0", b"1e3", b'"1"', b" 1"]),
            st.lists(MEMBERS, min_size=1, max_size=4),
        ),
        min_size=1,
        max_size=12,
    )
)
def test_what_is_validated_together_is_what_each_line_alone_would_be(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[bytes, list[bytes]]]
) -> None:
    path = tmp_path_factory.mktemp("lines") / "a.jsonl"
    write_session(path, [])
    bodies = [b'{"n":%d,"do":"mark","t":%b,%b' % (n, t, b",".join(rest)) for n, (t, rest) in enumerate(rows, 1)]
    with path.open("ab") as file:
        file.writelines(body + b',"crc":"%08x"}\n' % zlib.crc32(body) for body in bodies)
    alone: list[Record] = []
    for body in bodies:
        with contextlib.suppress(ValueError):
            names = [name for name, _ in json.loads(body + b"}", object_pairs_hook=list)]
            if len(set(names)) < len(names):
                continue  # one of two values would be lost
            alone.append(TypeAdapter(Record).validate_json(body + b"}"))
    read = session.read(path)
    assert read.records == alone
    assert len(read.findings) == len(bodies) - len(alone)


@pytest.mark.parametrize(
    ("was", "becomes"),
    [
        (b'"began":"2026-05-03T21:15:00.000+02:00"', b'"began":5'),
        (b'"began":"2026-05-03T21:15:00.000+02:00"', b'"began":"5"'),
        (b'"male":"M-1"', b'"male":7'),
        (b'"male":"M-1"', b'"male":"M-1","male":"M-2"'),
    ],
)
def test_a_header_of_the_wrong_kind_or_said_twice_is_refused(tmp_path: Path, was: bytes, becomes: bytes) -> None:
    path = tmp_path / "a.jsonl"
    write_session(path, RECORDS)
    first, rest = path.read_bytes().split(b"\n", 1)
    body = first[:-18]
    assert was in body
    path.write_bytes(journal.sealed(body.replace(was, becomes)) + rest)
    with pytest.raises(Refusal, match="not a session of etholog that can be read"):
        session.read(path)


def test_a_member_that_stands_twice_in_a_line_leaves_that_line_out(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    write_session(path, RECORDS)
    lines = path.read_bytes().splitlines(keepends=True)
    lines[1] = journal.sealed(lines[1][:-19].replace(b'"t":1000', b'"t":1000,"t":2000'))
    path.write_bytes(b"".join(lines))
    read = session.read(path)
    assert ["t stands there twice" in found.what for found in read.findings] == [True]
    assert len(read.records) == len(RECORDS) - 1
