"""Card lines in, advice out, for four groups of spiders. Beside each case stands its source, or that there is none."""

import csv
import re
from collections.abc import Callable
from datetime import date
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import animals
from etholog.animals import card, care, entering, readiness
from etholog.animals.card import Entry
from etholog.animals.entering import NewEntry
from etholog.animals.lot import Lot, Stage
from etholog.base.dates import Day
from etholog.base.refusal import Refusal
from etholog.commands.label import lines as label
from etholog.ethogram import at_hand
from etholog.recording.keyboard import QWERTY_KEYBOARD
from etholog.recording.opening import NewSession
from tests.make import RECORDS, CardLine, marks, write_card, write_session

TODAY = date(2026, 6, 1)
PRACTICE = "common practice, no source"
TEXTBOOK = "textbook knowledge, from memory"
OWN = "our own choice"
BITES = "Fuchs et al. 2014, Toxicon 77:73-77; Hauke & Herzig 2021, Toxicon 192:74-77"
HAIRS = "Norris et al. 2010, Lancet; a clinical article of 2018 on rubbing"

TERRESTRIAL = ("species", "2020", "Brachypelma smithi")
ARBOREAL = ("species", "2020", "Poecilotheria regalis")
TREE = ("species", "2020", "Caribena versicolor")
WOLF = ("species", "2020", "Hogna carolinensis")
JUMPING = ("species", "2020", "Phidippus regius")
UNKNOWN = ("species", "2020", "Nosuchgenus mirabilis")
PAIRED = ("paired", "2026-05-20", "M-1")
LAID = ("sac", "2026-05-25")
OUT: tuple[CardLine, ...] = (
    ("moult", "2025-03-01"), ("paired", "2025-09-01", "M-1"), ("sac", "2026-02-01"),
    ("count", "2026-05-20", "spiderlings", "120"),
)  # fmt: skip
EARLY: tuple[CardLine, ...] = (("paired", "2025-12-01", "M-1"), ("sac", "2026-05-10"), ("pulled", "2026-05-29"))
DAM, SIRE = ("dam", "2020", "D-1"), ("sire", "2020", "S-1")

# (his lines, her lines, where the advice stands, words that stand in it, words that don't, source)
Case = tuple[tuple[CardLine, ...], tuple[CardLine, ...], str, str, str, str]
CASES: list[Case] = [
    # Cautions follow the animal.
    ((TERRESTRIAL,), (TERRESTRIAL,), "beware", "say 'tarantula hairs'", "cramps", HAIRS),
    ((TERRESTRIAL,), (TERRESTRIAL,), "beware", "weeks later", "", HAIRS),
    ((TERRESTRIAL,), (TERRESTRIAL,), "beware", "trouble breathing", "", HAIRS),
    ((ARBOREAL,), (ARBOREAL,), "beware", "last for days", "'tarantula hairs'", BITES),
    ((TREE,), (TREE,), "beware", "'tarantula hairs'", "cramps", HAIRS),
    ((UNKNOWN,), (UNKNOWN,), "beware", "last for days", "", BITES),
    ((), (), "beware", "last for days", "", BITES),
    (
        (UNKNOWN, ("family", "2020", "Lycosidae")),
        (UNKNOWN, ("family", "2020", "Lycosidae")),
        "beware",
        "escape",
        "cramps",
        OWN,
    ),
    ((WOLF,), (WOLF,), "beware", "never fingers", "cramps", OWN),
    ((JUMPING,), (JUMPING,), "beware", "never fingers", "hairs", OWN),
    ((), (ARBOREAL, PAIRED), "label", "cramps for days", "", BITES),
    ((), (TERRESTRIAL, PAIRED), "label", "tell a doctor 'tarantula hairs', also weeks later", "", HAIRS),
    ((), (WOLF, PAIRED), "label", "Bites, escape: never fingers", "cramps", OWN),
    # Windows belong to a group, and none is borrowed.
    ((), (TERRESTRIAL, PAIRED), "due", "look for a sac (carried)", "", PRACTICE),
    ((), (ARBOREAL, PAIRED), "due", "60 to 240 days after", "90 to 300", PRACTICE),
    ((), (("species", "2020", "Iridopelma hirsutum"), PAIRED), "due", "30 to 240 days after", "30 to 365", PRACTICE),
    ((), (WOLF, PAIRED), "due", "14 to 56 days after", "", PRACTICE),
    ((), (JUMPING, PAIRED), "due", "7 to 56 days after", "", PRACTICE),
    ((), (UNKNOWN, PAIRED), "due", "no window known", "look for a sac", OWN),
    ((), (UNKNOWN, PAIRED), "label", "is not known of this kind", "look for a sac 2026", OWN),
    ((), (("species", "2020", "Brachypelma vagans"), PAIRED), "due", "90 to 300 days after", "", PRACTICE),
    # Moults.
    ((), (WOLF, ("moult", "2024-01-01")), "ready", "moult no more", "any day now", TEXTBOOK),
    ((), (JUMPING, ("moult", "2024-01-01")), "ready", "moult no more", "any day now", TEXTBOOK),
    ((), (TERRESTRIAL, ("moult", "2024-12-01")), "ready", "the next may come any day now", "moult no more", PRACTICE),
    ((), (ARBOREAL, ("moult", "2024-12-01")), "ready", "the next may come any day now", "", PRACTICE),
    ((), (JUMPING, ("moult", "2026-01-01", "last")), "ready", "adult: last moult", "", TEXTBOOK),
    ((), (UNKNOWN, ("moult", "2024-12-01")), "ready", "the next may come", "moult no more", OWN),
    ((), (UNKNOWN, ("moult", "2026-01-01")), "ready", "not known of her kind", "12 to 18 months", OWN),
    ((), (JUMPING, ("moult", "2026-01-01", "last")), "ready", "told as her last moult", "as a rule", OWN),
    # A refused meal.
    ((), (TERRESTRIAL, ("meal", "2026-05-28", "refused")), "due", "prey out, water, look", "OVERDUE", PRACTICE),
    ((), (ARBOREAL, ("meal", "2026-05-28", "refused")), "due", "prey out, water, look", "", PRACTICE),
    ((), (JUMPING, PAIRED, ("meal", "2026-05-28", "refused")), "due", "offer a small meal again", "prey out", TEXTBOOK),
    ((), (UNKNOWN, ("meal", "2026-05-28", "refused")), "due", "prey out, water, look", "OVERDUE", PRACTICE),
    ((), (TERRESTRIAL, ("meal", "2026-05-10", "refused"), ("moult", "2026-05-20")), "due", "", "prey out", PRACTICE),
    ((), (TERRESTRIAL, ("moult", "2026-05-05")), "ready", "may not have hardened", "", PRACTICE),
    ((), (TERRESTRIAL, ("moult", "2026-05-04")), "ready", "", "may not have hardened", PRACTICE),
    ((), (WOLF, ("born", "2025-09-01")), "ready", "is she adult?", "she may not be adult", TEXTBOOK),
    ((("moult", "2026-02-01", "last"), ("meal", "2026-01-01")), (), "ready", "M-1: last meal", "", PRACTICE),
    (
        (),
        (TERRESTRIAL, PAIRED, ("moult", "2026-05-01"), ("meal", "2026-05-28", "refused")),
        "due",
        "again",
        "prey",
        PRACTICE,
    ),
    (
        (("moult", "2026-02-01", "last"), ("meal", "2026-05-28", "refused"), TERRESTRIAL),
        (),
        "due",
        "mature males",
        "prey",
        PRACTICE,
    ),
    # Whoever counts spiderlings has no closed sac any more, whether its opening is on the card or not.
    ((), (TERRESTRIAL, *OUT, ("meal", "2026-05-28", "refused")), "due", "prey out, water, look", "leave her", PRACTICE),
    ((), (TERRESTRIAL, *OUT, ("meal", "2026-05-01")), "due", "feed", "free spiderlings are expected", PRACTICE),
    # A sac that was taken from her early stays closed until its eggs have legs, unless it was opened to count.
    ((), (TERRESTRIAL, *EARLY), "due", "leave it closed until 2026-06-14", "", PRACTICE),
    ((), (TERRESTRIAL, *EARLY, ("turned", "2026-06-01")), "due", "leave it closed until 2026-06-14", "", PRACTICE),
    ((), (TERRESTRIAL, *EARLY, ("count", "2026-05-30", "eggs", "200")), "due", "", "leave it closed", PRACTICE),
    ((), (TREE, *EARLY), "due", "turn it or count", "leave it closed", PRACTICE),  # 21 days after the laying
    ((), (TERRESTRIAL, PAIRED, LAID), "label", "leave alone until 2026-06-24, water always", "30 days", PRACTICE),
    # Nobody is put to a female that is about to moult.
    (
        (),
        (TERRESTRIAL, PAIRED, ("moult", "2024-12-01"), ("meal", "2026-05-28", "refused")),
        "due",
        "a moult may be near",
        "second introduction",
        PRACTICE,
    ),
    # A pairing that nobody watched may have taken what he had.
    ((("sperm_web", "2026-05-01"),), (PAIRED,), "ready", "since he may have inserted on 2026-05-20", "", OWN),
    ((("sperm_web", "2026-05-21"),), (PAIRED,), "ready", "sperm web 11 days ago", "no sperm web", OWN),
    # Custody.
    ((("sold", "2026-05-01", "Anna"), ("meal", "2026-01-01"), TERRESTRIAL), (), "due", "", "M-1", OWN),
    ((("moved", "2026-05-01", "lent to Anna"), ("meal", "2026-01-01"), TERRESTRIAL), (), "due", "", "M-1", OWN),
    ((("lent", "2026-05-01", "Anna until 2026-05-30"), TERRESTRIAL), (), "due", "Anna was to bring M-1 back", "", OWN),
    ((("sold", "2026-05-01", "Anna"),), (), "ready", "M-1: sold to Anna since 2026-05-01", "", OWN),
    (
        (),
        (("lent", "2026-04-01", "B"), ("returned", "2026-05-01"), TERRESTRIAL, PAIRED),
        "due",
        "look for a sac",
        "",
        OWN,
    ),
    # Is she adult? Weight and size.
    (
        (),
        (TERRESTRIAL, ("born", "2025-03-01"), ("size", "2026-05-01", "", "60")),
        "ready",
        "is she adult?",
        "she may not be adult",
        PRACTICE,
    ),
    ((), (TERRESTRIAL, ("born", "2025-09-01"), ("size", "2026-05-01", "", "60")), "ready", "leg span 60 mm", "", OWN),
    ((), (TERRESTRIAL, PAIRED, LAID), "ready", "adult: she laid a sac on 2026-05-25", "is she adult?", TEXTBOOK),
    ((), (("weight", "2026-03-01", "", "30"), ("weight", "2026-05-01", "", "34.5")), "ready", "+4.5 g since", "", OWN),
    # Sires and kin.
    (
        (DAM, SIRE, TERRESTRIAL),
        (DAM, ("sire", "2020", "S-1 or S-2")),
        "ready",
        "0.125 to 0.25, 0.1875 expected",
        "no ancestor",
        "Lacy 2012",
    ),
    (
        (("dam", "2020", "D-2"), SIRE),
        (DAM, ("sire", "2020", "S-1 or S-2")),
        "ready",
        "perhaps kin through S-1",
        "no ancestor",
        "Lacy 2012",
    ),
    (
        (("dam", "2020", "D-2"), ("sire", "2020", "S-2")),
        (DAM, SIRE),
        "ready",
        "no ancestor in common among their parents",
        "",
        OWN,
    ),
    ((DAM,), (("dam", "2020", "D-2"), SIRE), "ready", "sire of M-1 not known: they may be kin", "no ancestor", OWN),
    # Species.
    (
        (("species", "2020", "Brachypelma albopilosum"),),
        (("species", "2020", "Tliltocatl albopilosus"),),
        "ready",
        "one species",
        "two species",
        "Mendoza & Francke 2020",
    ),
    (
        (("species", "2020", "B. SMITHI"),),
        (("species", "2020", "Brachypelma smithi (F. O. P.-Cambridge, 1897)"),),
        "ready",
        "one species",
        "two",
        OWN,
    ),
    (
        (TERRESTRIAL, ("form", "2020", "coast")),
        (TERRESTRIAL, ("form", "2020", "hills")),
        "ready",
        "two localities or forms",
        "",
        OWN,
    ),
    ((TERRESTRIAL,), (("species", "2020", "Brachypelma hamorii"),), "ready", "two species", "one species", OWN),
    # What a transfer rests on.
    ((), (TERRESTRIAL, PAIRED), "label", "no more than their being together: nobody watched", "", OWN),
    ((), (TERRESTRIAL, PAIRED, LAID), "label", "rests on a sac alone, of an insertion that nobody saw", "", OWN),
]  # fmt: skip


def advice(folder: Path, where: str) -> str:
    known = animals.read(folder).as_of(TODAY)
    kept = at_hand(folder)
    if where == "label":
        return "\n".join(label(known, "F-1", kept))
    if where == "due":
        return "\n".join(f"{task.what}. {task.why}" for task in care.due(known, kept, TODAY) if "M-1" not in task.why)
    if where == "beware":
        return "\n".join(readiness.beware(["M-1", "F-1"], known))
    return "\n".join(fact.text for fact in readiness.facts("M-1", "F-1", known, kept, TODAY))


@pytest.mark.parametrize(("he", "she", "where", "words", "without", "source"), CASES)
def test_card_lines_in_advice_out(
    he: tuple[CardLine, ...],
    she: tuple[CardLine, ...],
    where: str,
    words: str,
    without: str,
    source: str,
    tmp_path: Path,
) -> None:
    write_card(tmp_path, "M-1", ("sex", "2020", "male"), *he)
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), *she)
    said = advice(tmp_path, where)
    assert words in said
    assert not without or without not in said
    assert source


def test_a_parent_that_is_not_sure_is_named_where_it_matters(tmp_path: Path) -> None:
    kept = Path(tmp_path / "animals")
    for name, dam, sire in (("M-1", "D-1", "S-1"), ("F-1", "D-2", "S-1")):
        book = card.open_or_create(kept / f"{name}.jsonl")
        card.append(book, Entry(0, "dam", Day.parse("2020"), sure=name == "F-1", words=dam), "now")
        card.append(book, Entry(0, "sire", Day.parse("2020"), sure=name == "M-1", words=sire), "now")
        assert book.close()
    said = advice(tmp_path, "ready")
    assert "kin through S-1: kinship 0.125" in said
    assert "it rests on the sire of F-1, marked unsure" in said
    assert "dam of M-1" not in said  # through her they are no kin, sure or not
    write_card(tmp_path, "M-1", ("sire", "2020", "S-2"))
    said = advice(tmp_path, "ready")
    assert "no ancestor in common among their parents" in said
    assert "it rests on the sire of F-1 and the dam of M-1, marked unsure" in said


def test_a_keepers_own_table_of_names_goes_before_the_shipped_one(tmp_path: Path) -> None:
    write_card(tmp_path, "M-1", ("species", "2020", "Brachypelma nomen"))
    write_card(tmp_path, "F-1", ("species", "2020", "B. smithi"))
    assert "two species" in advice(tmp_path, "ready")
    own = tmp_path / "synonyms.csv"
    own.write_text("name,accepted,source\nBrachypelma nomen,Brachypelma smithi,my dealer\n", encoding="utf-8")
    assert "one species" in advice(tmp_path, "ready")
    own.write_text("name,accepted,source\nBrachypelma nomen,,my dealer\n", encoding="utf-8")
    with pytest.raises(Refusal, match=r"synonyms.csv.*2.*no accepted name"):
        advice(tmp_path, "ready")


def test_a_genus_that_is_an_initial_alone_is_asked_about(tmp_path: Path) -> None:
    known = animals.read(tmp_path)
    for species, asked in (("P. regalis", True), ("Poecilotheria regalis", False), ("B. albopilosum", False)):
        (one,) = entering.propose(
            known, [NewEntry("F-1", entering.typed("species", [species], "2026"))], TODAY
        ).proposed
        assert any("of which genus?" in found.what for found in one.asked) == asked


def test_a_sac_that_was_taken_early_is_first_turned_and_then_looked_into(tmp_path: Path) -> None:
    """Brachypelma: keepers open a sac from 35 days after its laying on (common practice, no source)."""
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), TERRESTRIAL, *EARLY)
    turned, opened = (date(2026, 6, 1), date(2026, 6, 13)), date(2026, 6, 14)
    for today, firsts in ((date(2026, 6, 1), [turned[0], opened]), (opened, [opened])):
        tasks = care.due(animals.read(tmp_path).as_of(today), at_hand(tmp_path), today)
        told = [task for task in tasks if task.kind == "incubator"]
        assert [task.first for task in told] == firsts
        assert [(task.first, task.last) for task in told if "leave it closed" in task.what] == [turned][
            : len(firsts) - 1
        ]


def test_there_are_enough_cases() -> None:
    assert len(CASES) >= 40


def test_a_lot_is_told_stage_by_stage() -> None:
    days = [Day.parse(f"2026-07-{n:02d}") for n in (1, 1, 5, 20, 30)]
    counts = zip(days, ("eggs", "bad eggs", "eggs", "nymphs", "spiderlings"), (180, 40, 170, 150, 120), strict=True)
    lot = Lot.of(counts)
    assert lot.laid == 220
    assert lot.alive == {Stage.EGGS: 170, Stage.NYMPHS: 150, Stage.SPIDERLINGS: 120}
    assert lot.words == "laid 220, eggs 170 (50 lost), nymphs 150 (20 lost), spiderlings 120 (30 lost)"
    assert lot.young is not None
    assert lot.young.number == 120


def test_check_tells_of_an_unclear_count(tmp_path: Path) -> None:
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), PAIRED, LAID, ("count", "2026-05-30", "Eier", "300"))
    (question,) = [found for found in animals.questions(animals.read(tmp_path)) if "Eier" in found.what]
    assert "at what stage?" in question.what
    assert "eggs with legs" in question.remedy


@pytest.mark.slow
def test_one_door_asks_the_same_of_a_typed_entry_and_of_a_table(
    tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    rows = "animal;entry;on;words;number\nF-1;sex;3.5.2026;male;\nF-1;weight;4.5.2026;;38,5\nf-1;meal;5.2026;small;\n"
    (tmp_path / "old.csv").write_text(rows, encoding="utf-8")
    write_card(tmp_path, "F-1", ("sex", "2020", "female"))
    taken = etholog("card", "--take", "old.csv", cwd=tmp_path)
    assert taken.returncode == 1
    assert "F-1: weight 38.5 g on 2026-05-04  (from 4.5.2026)" in taken.stdout
    typed = etholog("card", "F-1", "sex", "male", cwd=tmp_path)
    for done in (taken, typed):
        assert "the card of F-1 says female so far, and now male" in done.stderr
    assert "differ in capitals alone" in taken.stderr


def test_twins_in_a_table_are_asked_about(tmp_path: Path) -> None:
    known = animals.read(tmp_path)
    entry = entering.typed("meal", ["small"], "2026-05-03")
    proposal = entering.propose(known, [NewEntry("F-1", entry), NewEntry("F-1", entry)], TODAY, once=True)
    assert len(proposal.proposed) == 1
    assert [found.what for found in proposal.asked] == ["the same row stands here twice; one is taken"]


def test_the_line_for_the_poison_centre_is_the_keepers_own(tmp_path: Path) -> None:
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), TERRESTRIAL)
    assert "555 0100" not in advice(tmp_path, "label")
    (tmp_path / "poison-centre.txt").write_text("Poison centre: 555 0100\n", encoding="utf-8")
    assert advice(tmp_path, "label").endswith("Poison centre: 555 0100")
    assert advice(tmp_path, "beware").endswith("Poison centre: 555 0100")


@pytest.mark.parametrize(
    ("said", "on_cards", "ethogram"),
    [
        ("Poecilotheria regalis", "", "arboreal"),
        ("hogna carolinensis", "", "wolf-spider"),
        ("", "Phidippus regius", "jumping-spider"),
        ("", "Brachypelma smithi", "terrestrial"),
        ("Caribena versicolor", "Brachypelma smithi", "arboreal"),  # what is said now goes before the cards
        ("", "", "terrestrial"),
    ],
)
def test_a_session_takes_the_ethogram_that_fits(said: str, on_cards: str, ethogram: str, tmp_path: Path) -> None:
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), *([("species", "2020", on_cards)] if on_cards else []))
    names = {"male": "M-1", "female": "F-1"} | ({"species": said} if said else {})
    new = NewSession(tmp_path / "sessions", "left", QWERTY_KEYBOARD, names)
    assert new.ethogram.name == ethogram
    assert f"ethogram {ethogram}: " in new.headline
    assert "ethogram" not in NewSession(new.folder, "left", QWERTY_KEYBOARD, {"ethogram": "arboreal"}).headline


def test_no_ethogram_is_borrowed_for_a_genus_that_is_not_known(tmp_path: Path) -> None:
    names = {"male": "M-1", "female": "F-1", "species": "Nosuchgenus mirabilis"}
    with pytest.raises(Refusal, match="fit Nosuchgenus mirabilis; say which one: arboreal, jumping-spider"):
        _ = NewSession(tmp_path / "sessions", "left", QWERTY_KEYBOARD, names).ethogram
    write_card(tmp_path, "F-1", ("family", "2020", "Lycosidae"))
    assert NewSession(tmp_path / "sessions", "left", QWERTY_KEYBOARD, names).ethogram.name == "wolf-spider"
    two = names | {"species": ""}
    write_card(tmp_path, "F-1", WOLF)
    write_card(tmp_path, "M-1", JUMPING)
    with pytest.raises(Refusal, match="more than one ethogram fits Phidippus regius and Hogna carolinensis"):
        _ = NewSession(tmp_path / "sessions", "left", QWERTY_KEYBOARD, two).ethogram


@pytest.mark.parametrize("name", ["genera.csv", "synonyms.csv"])
def test_each_row_of_a_shipped_table_says_its_source_or_that_it_has_none(name: str) -> None:
    with Path(animals.__file__).with_name(name).open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len({next(iter(row.values())) for row in rows}) == len(rows)
    for row in rows:
        assert re.search(r"\d{4}|from memory", row["source"]), row
        assert re.fullmatch(r"20\d\d-(0[1-9]|1[0-2])", row["as_of"]), row


# What a keeper reads for one species of each group, whole: the page before the clock, the label, what is due, what
# speaks for and against.
# (the name of the kept text, the ethogram, the species)
GROUPS = [
    ("terrestrial", "terrestrial", TERRESTRIAL),
    ("arboreal", "arboreal", ARBOREAL),
    ("wolf-spider", "wolf-spider", WOLF),
    ("jumping-spider", "jumping-spider", JUMPING),
    ("old-world-burrower", "terrestrial", ("species", "2020", "Pterinochilus murinus")),
    # A wrong ethogram takes no caution away.
    ("unknown-genus", "jumping-spider", UNKNOWN),
]


def whole(folder: Path, ethogram: str) -> str:
    known, kept = animals.read(folder).as_of(TODAY), at_hand(folder)
    new = NewSession(
        folder / "sessions", "left", QWERTY_KEYBOARD, {"ethogram": ethogram, "male": "M-1", "female": "F-1"}
    )
    parts = {
        "BEFORE THE CLOCK": new.cautions,
        "LABEL": label(known, "F-1", kept),
        "DUE": [f"{t.first} to {t.last} {t.animal}: {t.what} ({t.why})" for t in care.due(known, kept, TODAY)],
        "READY": [f"{f.side}: {f.text}" for f in readiness.facts("M-1", "F-1", known, kept, TODAY)],
        "BEWARE": readiness.beware(["M-1", "F-1"], known),
    }
    return "".join(f"{title}\n" + "".join(f"  {line}\n" for line in said) for title, said in parts.items())


@pytest.mark.parametrize(("name", "ethogram", "species"), GROUPS)
def test_all_advice_for_one_species_of_each_group_reads_as_kept(
    name: str, ethogram: str, species: CardLine, tmp_path: Path
) -> None:
    """The kept texts stand in `advice/`; a person has to read what changes in them."""
    he = (("moult", "2026-03-01", "last"), ("sperm_web", "2026-05-01"), ("meal", "2026-05-10", "small"))
    she = (("moult", "2025-12-01"), ("meal", "2026-05-28", "refused"), ("weight", "2026-05-01", "", "31"), PAIRED)
    write_card(tmp_path, "M-1", ("sex", "2020", "male"), species, *he)
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), species, *she)
    kept = Path(__file__).parent / "advice" / f"{name}.txt"
    assert whole(tmp_path, ethogram) == kept.read_text(encoding="utf-8")


def test_a_label_says_on_what_it_rests_that_sperm_may_have_been_transferred(tmp_path: Path) -> None:
    (tmp_path / "sessions").mkdir()
    clasped = [*marks((1000, "clasp", "onset"), (9000, "clasp", "offset")), {"do": "close", "t": 20_000, "outcome": {}}]
    write_session(tmp_path / "sessions" / "a.jsonl", clasped)
    assert "sperm may have been transferred: a clasp alone, no insertion was seen" in advice(tmp_path, "label")
    write_session(tmp_path / "sessions" / "b.jsonl", RECORDS)
    assert "a clasp alone" not in advice(tmp_path, "label")
    write_card(tmp_path, "F-1", ("sac", "2026-05-20"))
    (tmp_path / "sessions" / "b.jsonl").unlink()
    assert "rests on a sac alone, of an insertion that nobody saw (a clasp, no insertion)" in advice(tmp_path, "label")
