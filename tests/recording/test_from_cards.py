"""What cards know fills a session: nobody types a species twice, and no group of a season is without a name."""

from datetime import timedelta
from pathlib import Path
from threading import Event

import pytest

from etholog import animals, ethogram, season, session
from etholog.base import system
from etholog.commands import resume
from etholog.recording.keyboard import QWERTY_KEYBOARD
from etholog.recording.opening import NewSession
from tests.make import RECORDS, write_card, write_session


def test_species_and_days_come_from_the_cards_unless_they_were_said(tmp_path: Path) -> None:
    today = system.wall_now().date()
    moulted, fed = (today - timedelta(days=days) for days in (40, 6))
    write_card(tmp_path, "F-1", ("species", "2025", "Brachypelma smithi"), ("moult", moulted.isoformat()))
    write_card(tmp_path, "M-1", ("meal", fed.isoformat(), "small"), ("meal", today.isoformat(), "refused"))
    said = {"male": "M-1", "female": "F-1", "ethogram": "terrestrial", "female_days_since_moult": 41}
    new = NewSession(tmp_path / "sessions", "left", QWERTY_KEYBOARD, said)
    assert "from the cards: their species: Brachypelma smithi; days since his last meal: 6" in new.asked
    recorder = new.begin()
    assert recorder.journal.close()
    header = session.read(recorder.journal.path).header
    assert header["species"] == "Brachypelma smithi"
    assert header["conditions"] == {"female_days_since_moult": 41, "male_days_since_meal": 6}


def test_a_session_without_a_species_has_that_of_the_card(tmp_path: Path) -> None:
    (tmp_path / "sessions").mkdir()
    write_card(tmp_path, "M-1", ("species", "2025", "Brachypelma smithi"))
    write_session(tmp_path / "sessions" / "a.jsonl", RECORDS, species="")
    assert list(season.read(tmp_path).sessions["species"]) == ["Brachypelma smithi"]


def test_a_folder_of_another_name_beside_the_cards_has_its_pairings(tmp_path: Path) -> None:
    folder = tmp_path / "evenings"
    write_card(tmp_path, "F-1", ("sex", "2025", "female"))
    folder.mkdir()
    write_session(folder / "a.jsonl", RECORDS, male="M-Anton")
    write_session(folder / "b.jsonl", RECORDS, male="M-Antn")
    assert [met.male for met in season.read(folder).animals.pairings_of("F-1")] == ["M-Anton", "M-Antn"]
    assert NewSession(folder, "left", QWERTY_KEYBOARD, {}).animals.known() == ["F-1", "M-Antn", "M-Anton"]
    assert [found.what for found in resume._doubts(folder / "b.jsonl")] == ["M-Antn and M-Anton may be one animal"]
    (tmp_path / "sessions").mkdir()  # a workspace that has one keeps its own
    assert season.of(tmp_path, []).animals.pairings_of("F-1") == []


def test_a_renamed_animal_keeps_its_species_its_family_and_its_ethogram(tmp_path: Path) -> None:
    write_card(tmp_path, "M-Old", ("species", "2025", "Phidippus regius"), ("renamed", "2026", "M-New"))
    write_card(tmp_path, "F-Old", ("family", "2025", "Lycosidae"))
    write_card(tmp_path, "F-New", ("meal", "2026-04-01", "small"))
    write_card(tmp_path, "F-Old", ("renamed", "2026", "F-New"))  # both are her cards from now on
    for name in ("M-Old", "M-New"):
        new = NewSession(tmp_path / "sessions", "left", QWERTY_KEYBOARD, {"male": name})
        assert new.kinds == [("Phidippus regius", "")]
        assert new.ethogram.name == "jumping-spider"
    for name in ("F-Old", "F-New"):
        new = NewSession(tmp_path / "sessions", "left", QWERTY_KEYBOARD, {"female": name})
        assert new.kinds == [("", "Lycosidae")]
        assert new.ethogram.name == "wolf-spider"
    (tmp_path / "sessions").mkdir()
    write_session(tmp_path / "sessions" / "a.jsonl", RECORDS, species="", male="M-Old", female="")
    write_session(tmp_path / "sessions" / "b.jsonl", RECORDS, species="", male="M-New", female="")
    read = season.read(tmp_path).sessions
    assert list(zip(read["male"], read["species"], strict=True)) == [("M-New", "Phidippus regius")] * 2


def test_no_key_of_the_form_waits_for_the_workspace_to_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "sessions").mkdir()
    write_session(tmp_path / "sessions" / "a.jsonl", RECORDS, male="M-Anton", female="F-1")
    read, may_go_on = animals.read, Event()

    def slowly(workspace: Path, sessions: Path) -> animals.Animals:
        assert may_go_on.wait(60)
        return read(workspace, sessions)

    monkeypatch.setattr(animals, "read", slowly)
    new = NewSession(tmp_path / "sessions", "left", QWERTY_KEYBOARD, {})
    typed = {"male": "M-Antn", "female": "F-1"}
    assert "M-Anton with F-1" in new.aside(typed)  # what the first lines of sessions tell is there at once
    assert "M-Antn is new" not in new.aside(typed)
    may_go_on.set()
    assert new.animals.known() == ["F-1", "M-Anton"]
    assert "M-Antn is new: no card and no session has that name; did you mean M-Anton?" in new.aside(typed)


def test_cautions_of_the_keepers_own_are_told_whatever_the_animals_cautions_are_about(tmp_path: Path) -> None:
    (tmp_path / "ethograms").mkdir()
    shipped = Path(ethogram.shipped() / "terrestrial.toml").read_text(encoding="utf-8")
    (tmp_path / "ethograms" / "own.toml").write_text(
        shipped.replace('name = "terrestrial"', 'name = "own"').replace(
            "cautions = [", 'cautions = [\n  "Hairs: mine are allergic to them, mask on.",'
        ),
        encoding="utf-8",
    )
    said = {"ethogram": "own", "species": "Brachypelma smithi"}
    told = NewSession(tmp_path / "sessions", "left", QWERTY_KEYBOARD, said).cautions
    assert "Hairs: mine are allergic to them, mask on." in told
    assert sum("hairs" in one.partition(":")[0].lower() for one in told) == 2  # the shipped one is told by the animal's
