"""Several keepers' workspaces as one: what was split comes back exactly, and nothing of the sources changes."""

import hashlib
import json
import re
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path
from subprocess import CompletedProcess
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from etholog import animals, season
from etholog.analysis import outcome
from etholog.analysis.plan import populations
from etholog.animals import Animals, care, conflicts, entering, gathering, sources
from etholog.animals.card import NAMING
from etholog.animals.custody import custody
from etholog.animals.entering import NewEntry
from etholog.base import journal
from etholog.base.refusal import Refusal
from etholog.ethogram import at_hand
from tests.make import RECORDS, unmeasured, write_card, write_session

Run = Callable[..., CompletedProcess[str]]
KEEPERS = ("anna", "bert", "carla")
# What carla calls three of the animals: one is mistyped, one is known by its moults alone, one by nothing.
HERS = {"M-Basalt": "M-Bazalt", "F-Umbra": "Old Lady", "M-Ochre": "Number 7"}


def put(path: Path, header: Mapping[str, Any], records: list[dict[str, Any]]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    numbered = [{**record, "n": n} for n, record in enumerate([dict(header), *records])]
    lines = [{"n": one["n"], "do": one["do"]} | one for one in numbered]
    path.write_bytes(b"".join(map(journal.encode, lines)))


def decoded(path: Path) -> list[dict[str, Any]]:
    return [
        {name: value for name, value in journal.decoded(body).items() if name != "n"}
        for body in journal.read(path).bodies
    ]


def hers(record: dict[str, Any]) -> dict[str, Any]:
    """Return a record with the names that carla uses."""
    named = {name: HERS.get(record[name], record[name]) for name in ("id", "male", "female") if name in record}
    if record["do"] in NAMING and "words" in record:
        named["words"] = HERS.get(record["words"], record["words"])
    return {**record, **named}


def split(whole: Path, to: Path) -> None:
    """Give each keeper a third of the season: some sessions twice; of each card a beginning to two keepers, who write
    on by turns; and what carla renamed to her alone, with a beginning of the card under its own name to anna."""
    for at, path in enumerate(sorted((whole / "animals").glob("*.jsonl"))):
        header, *records = decoded(path)
        if path.stem in HERS:
            put(to / "anna" / "animals" / path.name, header, records[: len(records) // 2])
            named = HERS[path.stem]
            put(to / "carla" / "animals" / f"{named}.jsonl", hers(header), [hers(one) for one in records])
            continue
        one, other = KEEPERS[at % 2], KEEPERS[(at + 1) % 2]
        shared = max(1, len(records) // 2)
        rest = records[shared:]
        put(to / one / "animals" / path.name, header, records[:shared] + rest[::2])
        put(to / other / "animals" / path.name, header, records[:shared] + rest[1::2])
    for at, path in enumerate(sorted((whole / "sessions").glob("*.jsonl"))):
        lines = decoded(path)
        if {lines[0]["male"], lines[0]["female"]} & {*HERS}:
            put(to / "carla" / "sessions" / path.name, hers(lines[0]), lines[1:])
            continue
        for keeper in {KEEPERS[at % 2], KEEPERS[(at % 4) // 2]}:
            (to / keeper / "sessions").mkdir(parents=True, exist_ok=True)
            shutil.copy(path, to / keeper / "sessions" / path.name)


def told(known: Animals, one: str) -> Counter[tuple[object, ...]]:
    """Return what is on an animal's card, with the names that animals have there now."""
    card = known.find(one)
    assert card is not None
    found: Counter[tuple[object, ...]] = Counter()
    for e in card.entries:
        if e.kind != "renamed":
            words = known.id_of(e.words) if e.kind in NAMING else e.words
            found[e.kind, e.on.text, words, e.number, e.sure, e.note] += 1
    return found


def digests(folder: Path) -> dict[Path, str]:
    return {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.slow
def test_the_example_season_split_in_three_comes_back_exactly(repository: Path, tmp_path: Path, etholog: Run) -> None:
    whole = repository / "examples" / "season"
    split(whole, tmp_path)
    forms = {"anna": "coast", "bert": "inland"}
    for n, keeper in enumerate(forms, 1):
        assert (tmp_path / keeper / "animals" / "F-Clay.jsonl").exists()
        write_card(tmp_path / keeper, "F-Clay", ("form", "2026", forms[keeper]), ("born", f"202{n}-05-01"))
    before = {keeper: digests(tmp_path / keeper) for keeper in KEEPERS}
    words = [f"{keeper}={tmp_path / keeper}" for keeper in KEEPERS]
    group = tmp_path / "group"
    done = etholog("gather", *words, "--to", group, "--people", "--places")
    assert done.returncode == 1, done.stderr
    for said in ("M-Bazalt and M-Basalt may be one animal: names that are alike", "Old Lady and F-Umbra may be one"):
        assert said in done.stdout  # carla tells more of both than the other two keepers
    # No name and no date speaks for the third, so nobody proposes it; a person may know.
    for own, other in HERS.items():
        assert etholog("card", other, "renamed", own, "--folder", group).returncode in (0, 1)
    # Those that carla met, or names as parents, and has no card of: each is proposed by its name, and joined likewise.
    also = re.findall(r"^\? (\S+) and (\1 \(carla\)) may be one animal: the same name", done.stdout, re.M)
    assert len(also) > 5
    joined = [NewEntry(other, entering.typed("renamed", [own], "2026-11-20")) for own, other in also]
    entering.write(entering.propose(animals.read(group), joined, date(2026, 11, 20)))
    found, original = animals.read(group), animals.read(whole)
    planted = Counter({("form", "2026", form, None, True, ""): 1 for form in forms.values()})
    planted += Counter({("born", f"202{n}-05-01", "", None, True, ""): 1 for n in (1, 2)})
    for name in original.cards:
        assert told(found, name) - (planted if name == "F-Clay" else Counter()) == told(original, name), name
    assert {(p.male, p.female, p.on) for p in found.pairings} == {(p.male, p.female, p.on) for p in original.pairings}
    assert [finding.what.split(":")[:2] for finding in conflicts.conflicts(found)] == [
        ["F-Clay", " locality or form"],
        ["F-Clay", " born"],
    ]
    both = next(finding.what for finding in conflicts.conflicts(found) if "born" in finding.what)
    assert "2021-05-01 (anna, #" in both
    assert "2022-05-01 (bert, #" in both
    # The measures are the same, once the conflict is settled by one's own word.
    assert etholog("card", "F-Clay", "form", "coast", "--folder", group).returncode == 0
    settled = animals.read(group)
    assert [": born" in one.what for one in conflicts.conflicts(settled)] == [True]
    seasons = season.read(group, cached=False), season.read(whole, cached=False)
    assert len(seasons[0].sessions) == len(seasons[1].sessions)
    assert len(seasons[0].bouts) == len(seasons[1].bouts)
    day = date(2026, 11, 20)
    funnels = [outcome.funnel(outcome.outcomes(one, day)) for one in seasons]
    assert funnels[0].equals(funnels[1])
    due = [{(t.animal, t.what, t.first) for t in care.due(one, at_hand(whole), day)} for one in (settled, original)]
    assert due[0] == due[1]
    # Again: nothing is new, nothing of the sources was touched. A joining is taken back like any line.
    again = etholog("gather", *words, "--to", group, "--people", "--places")
    assert "0 new cards, 0 new entries, 0 new sessions" in again.stderr
    assert before == {keeper: digests(tmp_path / keeper) for keeper in KEEPERS}
    number = next(e.n for e in animals.read(group).cards["M-Ochre"].entries if e.of == "Number 7" and not e.by)
    assert etholog("card", "M-Ochre", "undo", f"Number 7:{number}", "--folder", group).returncode == 0
    assert {"M-Ochre", "Number 7"} <= {*animals.read(group).known()}


@pytest.mark.parametrize(
    ("sellers", "buyers", "words"),
    [
        ([("sold", "2026-03-01", "Bert")], [("got", "2026-03-01", "Anna")], "here since 2026-03-01, with bert"),
        ([("given", "2026-03-05", "Bert")], [("got", "2026-03-03", "Anna")], "here since 2026-03-05, with bert"),
        ([("sold", "2026-03", "Bert")], [("got", "2026-03-20")], "here since 2026-03, with bert"),
        ([("sold", "2026-03-01", "Bert")], [("meal", "2026-03-10", "small")], "here since 2026-03-01, with bert"),
        (
            [("moved", "2026-03-01", "sold to Bert")],
            [("meal", "2026-03-10", "small")],
            "here since 2026-03-01, with bert",
        ),
        # What he wrote before the sale says nothing of it: to somebody who is not of the group.
        ([("sold", "2026-03-01", "Zoe")], [("meal", "2026-02-10", "small")], "sold to a keeper since 2026-03-01"),
        (
            [("sold", "2026-03-01", "Bert")],
            [("got", "2026-03-01"), ("sold", "2026-05-01", "Zoe")],
            "sold to a keeper since 2026-05-01",
        ),
        (
            [("lent", "2026-03-02", "Bert until 2026-09-01")],
            [("borrowed", "2026-03-01", "Anna until 2026-09-01")],
            "on loan from a keeper since 2026-03-01, until 2026-09-01, with bert",
        ),
        # Given back to somebody who is not of the group, and to one who is.
        (
            [("borrowed", "2026-03-01", "Zoe"), ("returned", "2026-05-01", "Zoe")],
            [("borrowed", "2026-01-01", "Zoe"), ("returned", "2026-02-01", "Zoe")],
            "returned to a keeper since 2026-05-01",
        ),
        (
            [("borrowed", "2026-03-01", "Bert"), ("returned", "2026-05-01", "Bert")],
            [("meal", "2026-02-10", "small"), ("lent", "2026-03-01", "Anna")],
            "here",
        ),
    ],
)
@pytest.mark.parametrize("order", [("anna", "bert"), ("bert", "anna")])
def test_who_was_sold_within_the_group_is_in_the_buyers_house(
    sellers: list[tuple[str, ...]], buyers: list[tuple[str, ...]], words: str, order: tuple[str, ...], tmp_path: Path
) -> None:
    for keeper, said in (("anna", sellers), ("bert", buyers)):
        born = ("sex", "2020", "male"), ("species", "2020", "Brachypelma smithi")
        write_card(tmp_path / keeper, "M-1", *born, *said)
    gathering.gather(tmp_path / "group", [sources.read(keeper, tmp_path / keeper) for keeper in order])
    known = animals.read(tmp_path / "group")
    where = custody(known.find("M-1"))
    assert where.words == words
    assert ("M-1" in str(populations(known))) == where.at_hand == words.startswith(("here", "on loan"))


KINDS = st.sampled_from(
    [("meal", "small"), ("moult", ""), ("water", ""), ("note", "by the window"), ("species", "Hogna carolinensis")]
)
ENTRIES = st.lists(st.tuples(KINDS, st.integers(1, 28), st.booleans()), min_size=1, max_size=6)


@pytest.mark.slow
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(ENTRIES, min_size=1, max_size=3), st.randoms(use_true_random=False))
def test_any_season_comes_back_however_it_is_split_and_in_whatever_order(lives: list[Any], chance: Any) -> None:
    """Each card is begun by one keeper, copied to another at some line, and written on by both; an undo is among the
    lines. It is gathered twice: with what there was half-way, and at the end."""
    with tempfile.TemporaryDirectory() as name:
        folder, group = Path(name), Path(name) / "group"
        lines = []
        for number, life in enumerate(lives):
            records: list[dict[str, Any]] = [
                {"do": kind, "on": f"2026-05-{day:02}", "sure": sure, "told": f"{number}.{at}"}
                | ({"words": words} if words else {})
                for at, ((kind, words), day, sure) in enumerate(life)
            ]
            if chance.random() < 0.5:
                records.append({"do": "undo", "of": 1, "told": "later"})
            lines.append(records)
        stages: list[dict[tuple[str, int], list[dict[str, Any]]]] = [{}, {}]
        expected: dict[int, Counter[str]] = {}
        for number, records in enumerate(lines):
            one, other = chance.sample(KEEPERS, 2)
            shared = chance.randint(1, len(records))
            own = [record for record in records[shared:] if chance.random() < 0.5]
            rest = [record for record in records[shared:] if record not in own]
            for keeper, more in ((one, own), (other, rest)):
                all_ = records[:shared] + more
                stages[1][keeper, number] = all_
                stages[0][keeper, number] = all_[: chance.randint(1, len(all_))]
            expected[number] = Counter(json.dumps(record, sort_keys=True) for record in records)
        for stage in stages:
            for (keeper, number), records in stage.items():
                header = {"do": "begin", "format": "etholog-card/1", "id": f"A-{number}"}
                put(folder / keeper / "animals" / f"A-{number}.jsonl", header, records)
            there = [keeper for keeper in KEEPERS if (folder / keeper).exists()]
            chance.shuffle(there)
            gathering.gather(group, [sources.read(keeper, folder / keeper) for keeper in there])
        found = {
            path.stem: Counter(
                json.dumps({k: v for k, v in record.items() if k not in ("by", "at")}, sort_keys=True)
                for record in decoded(path)[1:]
            )
            for path in sorted((group / "animals").glob("*.jsonl"))
        }
        assert found == {f"A-{number}": told for number, told in expected.items()}
        again = gathering.gather(group, [sources.read(keeper, folder / keeper) for keeper in there])
        assert (again.cards, again.entries, again.sessions, again.findings) == (0, 0, 0, [])


def test_two_animals_of_one_name_stay_two_and_their_lines_follow_them(tmp_path: Path) -> None:
    for keeper in ("anna", "bert"):
        write_card(tmp_path / keeper, "M-1", ("note", "2026", f"from {keeper}"), ("sex", "2026", "male"))
        write_card(tmp_path / keeper, f"F-{keeper}", ("sex", "2026", "female"), ("paired", "2026-05-01", "M-1"))
        write_card(tmp_path / keeper, f"Y-{keeper}", ("dam", "2026", f"F-{keeper}"), ("sire", "2026", "M-1:2 or M-2:1"))
        (tmp_path / keeper / "sessions").mkdir()
        write_session(tmp_path / keeper / "sessions" / "a.jsonl", RECORDS, male="M-1", female=f"F-{keeper}")
    done = gather(tmp_path, "anna", "bert")
    assert ("bert", "M-1", "M-1 (bert)") in done.called
    known = animals.read(tmp_path / "group")
    assert known.parents["Y-bert"].sire == (("M-1 (bert)", 2 / 3), ("M-2 (bert)", 1 / 3))
    assert known.parents["Y-anna"].sire == (("M-1", 2 / 3), ("M-2", 1 / 3))
    # Two sessions of one id are two, and each has its own male.
    watched = {(p.male, p.female) for p in known.pairings if p.file}
    assert watched == {("M-1", "F-anna"), ("M-1 (bert)", "F-bert")}
    assert len(season.read(tmp_path / "group").sessions) == 2


def gather(folder: Path, *keepers: str, **more: bool) -> gathering.Gathering:
    return gathering.gather(folder / "group", [sources.read(keeper, folder / keeper) for keeper in keepers], **more)


def test_places_and_names_are_left_out_unless_they_are_asked_for(tmp_path: Path) -> None:
    write_card(
        tmp_path / "anna", "M-1", ("sex", "2026", "male"), ("lent", "2026-03-01", "Zdenka until 2026-09-01"),
        ("got", "2025", "from Wilhelm"), ("shares", "2026", "Zdenka 1, me 2"), ("note", "2026-05-01", "zdenka rang"),
        ("moved", "2026-01-01", "cellar in Lyon"),
    )  # fmt: skip
    (tmp_path / "anna" / "sessions").mkdir()
    close = {"do": "close", "t": 20_000, "outcome": {"ended": "parted", "why": "Mirko came in"}}
    note = {"do": "note", "t": 18_000, "text": "Mirko held the torch"}
    write_session(
        tmp_path / "anna" / "sessions" / "a.jsonl", [*RECORDS[:-1], note, close], observer="Mirko", place="Gdansk"
    )
    gather(tmp_path, "anna")
    names = ("Zdenka", "zdenka", "Wilhelm", "Lyon", "Mirko", "Gdansk")
    text = "".join(path.read_text(encoding="utf-8") for path in (tmp_path / "group").rglob("*.jsonl"))
    assert not [name for name in names if name in text]
    known = animals.read(tmp_path / "group")
    assert animals.custody.custody(known.find("M-1")).words == "lent to a keeper since 2026-03-01, until 2026-09-01"
    assert animals.custody.shares(known.cards["M-1"].fact("shares")) == {"keeper A": 1 / 3, "me": 2 / 3}
    # Asked for later, nothing comes twice.
    assert gather(tmp_path, "anna", people=True, places=True).entries == 0
    shutil.rmtree(tmp_path / "group")
    gather(tmp_path, "anna", people=True, places=True)
    text = "".join(path.read_text(encoding="utf-8") for path in (tmp_path / "group").rglob("*.jsonl"))
    assert all(name in text for name in names)


@pytest.mark.slow
def test_a_folder_of_which_half_can_not_be_read_gives_the_other_half(tmp_path: Path, etholog: Run) -> None:
    write_card(tmp_path / "anna", "M-1", ("sex", "2026", "male"), ("meal", "2026-05-01", "small"))
    (tmp_path / "anna" / "animals" / "M-2.jsonl").write_text("scribble\n", encoding="utf-8")
    broken = tmp_path / "anna" / "animals" / "M-1.jsonl"
    broken.write_bytes(broken.read_bytes().replace(b'"small"', b'"large"'))
    done = etholog("gather", f"anna={tmp_path / 'anna'}", "--to", tmp_path / "group")
    assert done.returncode == 1
    assert f"{broken}: line 3: its checksum does not match" in done.stdout
    assert "M-2.jsonl: line 1: not a journal of etholog" in done.stdout
    assert [entry.kind for entry in animals.read(tmp_path / "group").cards["M-1"].entries] == ["sex"]


def test_a_table_is_a_source_and_only_its_new_rows_come_in(tmp_path: Path) -> None:
    table = tmp_path / "carla.csv"
    rows = ["animal;entry;on;words;number", "F-1;sex;1.5.2026;female;", "F-1;size;2.5.2026;;61,5"]
    table.write_text("\n".join(rows), encoding="utf-8")
    first = gathering.gather(tmp_path / "group", [sources.read("carla", table)])
    table.write_text("\n".join([rows[0], "F-1;water;3.5.2026;;", *rows[1:]]), encoding="utf-8")  # in another order
    again = gathering.gather(tmp_path / "group", [sources.read("carla", table)])
    assert (first.entries, again.entries) == (2, 1)
    assert animals.read(tmp_path / "group").cards["F-1"].last("size").number == 61.5  # type: ignore[union-attr]


def test_a_session_that_grew_grows_and_one_that_forked_is_kept_twice(tmp_path: Path) -> None:
    path = tmp_path / "anna" / "sessions" / "a.jsonl"
    path.parent.mkdir(parents=True)
    write_session(path, RECORDS[:-1])
    gather(tmp_path, "anna")
    shutil.copytree(tmp_path / "anna", tmp_path / "bert")
    for keeper, last in (("anna", RECORDS[-1]), ("bert", {"do": "close", "t": 30_000, "outcome": {}})):
        book = journal.Journal.open(tmp_path / keeper / "sessions" / "a.jsonl")[0]
        book.append(journal.Draft({name: value for name, value in last.items() if name != "n"}))
        book.close()
    done = gather(tmp_path, "anna", "bert")
    assert (done.sessions, done.lines) == (0, 1)
    assert ["goes on otherwise than" in found.what for found in done.findings] == [True]
    kept = tmp_path / "group" / "other-copies" / "bert" / "a.jsonl"
    assert b'"t":30000' in kept.read_bytes()
    assert len(season.read(tmp_path / "group").sessions) == 1


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["anna={0}/nowhere", "--to", "{0}/group"], "is not there"),
        (["anna={0}/anna", "anna={0}/anna", "--to", "{0}/group"], "two sources are called 'anna'"),
        (["anna={0}/anna", "--to", "{0}/anna"], "is a source"),
        (["bert={0}/anna", "--to", "{0}/full"], "is there already and no gathering made it"),
        (["={0}/anna", "--to", "{0}/group"], "write LABEL=FOLDER"),
        (["x={0}/made", "--to", "{0}/group"], "was gathered itself"),
    ],
)
def test_what_can_not_be_gathered_is_refused(words: list[str], why: str, tmp_path: Path, etholog: Run) -> None:
    write_card(tmp_path / "anna", "M-1", ("sex", "2026", "male"))
    write_card(tmp_path / "full", "M-1", ("sex", "2026", "male"))
    gathering.gather(tmp_path / "made", [sources.read("anna", tmp_path / "anna")])
    done = etholog("gather", *(word.format(tmp_path) for word in words))
    assert (done.returncode, why in done.stderr) == (2, True), done.stderr
    assert not (tmp_path / "group").exists()


def test_a_gathering_whose_names_were_changed_is_refused(tmp_path: Path) -> None:
    write_card(tmp_path / "anna", "M-1", ("sex", "2026", "male"))
    gather(tmp_path, "anna")
    book = journal.Journal.open(tmp_path / "group" / "gathered.jsonl")[0]
    book.append(journal.Draft({"do": "animal", "odd": 1}))
    book.close()
    with pytest.raises(Refusal, match="put back a copy"):
        gather(tmp_path, "anna")


def copied(path: Path, name: str, lines: int) -> None:
    """Leave a copy beside a journal, as a program that keeps two machines alike does, taken when it had so many."""
    path.with_name(name).write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:lines]))


def test_copies_beside_a_keepers_files_are_taken_in_once(tmp_path: Path) -> None:
    anna = keeper(tmp_path)
    copied(anna / "animals" / "F-1.jsonl", "F-1 (1).jsonl", 2)
    copied(anna / "sessions" / "a.jsonl", "a (1).jsonl", 3)
    found = gathering.gather(tmp_path / "group", [sources.read("anna", anna)])
    assert (found.cards, found.entries, found.sessions) == (1, 3, 1)
    assert len(journal.read(tmp_path / "group" / "sessions" / "a.jsonl").bodies) == len(RECORDS) + 1
    assert [path.name for path in (tmp_path / "group" / "animals").iterdir()] == ["F-1.jsonl"]
    again = gathering.gather(tmp_path / "group", [sources.read("anna", anna)])
    assert (again.cards, again.entries, again.sessions, again.lines) == (0, 0, 0, 0)


def test_a_card_that_went_on_otherwise_after_a_backup_is_taken_in_whole(tmp_path: Path) -> None:
    anna, group = keeper(tmp_path), tmp_path / "group"
    early = (anna / "animals" / "F-1.jsonl").read_bytes()
    write_card(anna, "F-1", ("moult", "2026-06-01"))
    gathering.gather(group, [sources.read("anna", anna)])
    (anna / "animals" / "F-1.jsonl").write_bytes(early)
    write_card(anna, "F-1", ("meal", "2026-07-01", "small"))
    for taken in (1, 0):
        assert gathering.gather(group, [sources.read("anna", anna)]).entries == taken
    kinds = [entry.kind for entry in animals.read(group).cards["F-1"].entries]
    assert sorted(kinds) == ["meal", "meal", "moult", "sex", "species"]


def test_copies_of_a_session_that_went_on_otherwise_are_all_kept(tmp_path: Path) -> None:
    anna, group = keeper(tmp_path), tmp_path / "group"
    for t, name in enumerate(("a (1).jsonl", "a (2).jsonl"), 6000):
        copied(anna / "sessions" / "a.jsonl", name, 3)
        book, _ = journal.Journal.open(anna / "sessions" / name)
        book.append(journal.Draft({"do": "note", "t": t, "text": name}))
        assert book.close()
    for _ in range(2):
        assert len(gathering.gather(group, [sources.read("anna", anna)]).findings) == 2
    texts = [path.read_text() for path in (group / gathering.OTHER_COPIES / "anna").iterdir()]
    texts.append((group / "sessions" / "a.jsonl").read_text())
    assert '"do":"close"' in texts[-1]
    for name in ("a (1).jsonl", "a (2).jsonl"):
        assert sum(f'"text":"{name}"' in text for text in texts) == 1
    assert sum('"do":"close"' in text for text in texts) == 1


def keeper(folder: Path) -> Path:
    anna = folder / "anna"
    (anna / "sessions").mkdir(parents=True)
    write_session(anna / "sessions" / "a.jsonl", RECORDS)
    write_card(anna, "F-1", ("sex", "2025", "female"), ("species", "2025", "x"), ("meal", "2026-05-01", "small"))
    return anna


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no such limit")
def test_a_disk_that_is_full_of_names_gives_no_animal_another_name(tmp_path: Path) -> None:
    import resource
    import subprocess

    anna, group = tmp_path / "anna", tmp_path / "group"
    for n in range(40):
        write_card(anna, f"F-{n}", ("sex", "2025", "female"))
    words = [sys.executable, "-m", "etholog", "gather", f"anna={anna}", "--to", str(group)]
    full = subprocess.run(
        words, capture_output=True, text=True, check=False, env=unmeasured(XDG_STATE_HOME=str(tmp_path)),
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (3000, 3000)),
    )  # fmt: skip
    assert (full.returncode, "Traceback" in full.stderr) == (2, False)
    found = gathering.gather(group, [sources.read("anna", anna)])
    assert (found.cards, found.entries, found.called) == (40, 40, [])
    assert sorted(path.stem for path in (group / "animals").iterdir()) == sorted(f"F-{n}" for n in range(40))


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no such limit")
def test_more_lines_of_a_session_that_a_full_disk_does_not_take_are_not_told_as_taken(tmp_path: Path) -> None:
    import resource
    import subprocess

    anna, group = keeper(tmp_path), tmp_path / "group"
    whole = anna / "sessions" / "a.jsonl"
    everything = whole.read_bytes()
    copied(whole, whole.name, 4)
    gathering.gather(group, [sources.read("anna", anna)])
    whole.write_bytes(everything)
    size = (group / "sessions" / "a.jsonl").stat().st_size
    full = subprocess.run(
        [sys.executable, "-m", "etholog", "gather", f"anna={anna}", "--to", str(group)],
        capture_output=True, text=True, check=False, env=unmeasured(XDG_STATE_HOME=str(tmp_path)),
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (size, size)),
    )  # fmt: skip
    assert full.returncode == 1
    assert "NOT SAVED" in full.stdout
    assert "more lines" not in full.stderr
    assert gathering.gather(group, [sources.read("anna", anna)]).lines == len(RECORDS) - 3


def test_of_two_names_that_are_alike_the_one_told_less_often_is_to_be_renamed(tmp_path: Path) -> None:
    male = ("sex", "2020", "male")
    write_card(tmp_path / "anna", "M-Anton", male, ("moult", "2026-01-01", "last"), ("meal", "2026-02-01"))
    write_card(tmp_path / "bert", "M-Antn", male)  # which comes first by the letters
    for keeper in ("anna", "bert"):
        (tmp_path / keeper / "sessions").mkdir()
    gathering.gather(tmp_path / "group", [sources.read(keeper, tmp_path / keeper) for keeper in ("anna", "bert")])
    known = animals.read(tmp_path / "group")
    (one,) = conflicts.twins(known, gathering.known_by(tmp_path / "group"))
    assert (one.right, one.wrong) == ("M-Anton", "M-Antn")
