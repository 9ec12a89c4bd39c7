"""Every sentence that leaves the program is in every catalogue, and means the same gaps; languages follow gettext."""

import os
import re
import subprocess
from collections.abc import Callable
from gettext import c2py
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from babel import Locale
from matplotlib.text import Text

import etholog
from etholog import ethogram, figures
from etholog.analysis.order import confounded
from etholog.analysis.sensitivity import sensitivity, sentences
from etholog.base.catalogues import asked, catalogue, languages
from etholog.base.language import beside, gettext, ngettext, number, speaking, unchecked
from etholog.base.refusal import Refusal
from etholog.figures.style import plate, rules
from etholog.session import read
from tests import catalogues

Run = Callable[..., subprocess.CompletedProcess[str]]
GAP = re.compile(r"\{[^}]*\}")


def test_every_sentence_is_in_every_catalogue_and_no_other() -> None:
    said = catalogues.sentences()
    assert len(said) > 200
    for file in catalogues.files():
        kept = {message.id: message.string for message in catalogue(file) if message.id}
        assert set(kept) == set(said), file  # python -m tests.catalogues
        for english, own in kept.items():
            forms = [own] if isinstance(own, str) else own
            assert all(forms), (file, english)
            gaps = {gap for one in ([english] if isinstance(english, str) else english) for gap in GAP.findall(one)}
            for form in forms:
                assert set(GAP.findall(form)) == gaps, (file, english)


def test_plural_forms_are_those_of_unicode() -> None:
    # CLDR's rules, as babel has them: https://cldr.unicode.org/index/cldr-spec/plural-rules
    for file in catalogues.files():
        own, theirs = c2py(catalogue(file).plural_expr), Locale(file.parts[-3]).plural_form
        counts = [*range(130), 1000, 1001, 1002, 1_000_000]
        assert len({(own(n), theirs(n)) for n in counts}) == len({theirs(n) for n in counts})
    with speaking("pl"):
        told = [ngettext("{n} day of rest after {day}", "{n} days of rest after {day}", n, day="x") for n in (1, 30)]
    assert told == ["1 dzień odpoczynku po x", "30 dni odpoczynku po x"]


def test_numbers_are_written_as_in_the_language() -> None:
    # CLDR: a comma for decimals in all three; a point, a point and a no-break space between thousands.
    with speaking("de"):
        assert number(1234.5, ",.1f") == "1.234,5"
    with speaking("pl"):
        assert number(1234.5, ",.1f") == "1\N{NO-BREAK SPACE}234,5"
    assert number(1234.5, ",.1f") == "1,234.5"


def test_the_environment_chooses_by_the_rules_of_gettext(monkeypatch: pytest.MonkeyPatch) -> None:
    # https://www.gnu.org/software/gettext/manual/html_node/Locale-Environment-Variables.html
    cases = [
        ({}, "en"), ({"LANG": "de_DE.UTF-8"}, "de"), ({"LANG": "de_DE.UTF-8", "LC_MESSAGES": "es_AR.UTF-8"}, "es"),
        ({"LC_ALL": "pl_PL", "LC_MESSAGES": "es_ES", "LANG": "de_DE"}, "pl"), ({"LANG": "fr_FR.UTF-8"}, "en"),
        ({"LANG": "de_AT@euro", "LANGUAGE": "fr:pl:de"}, "pl"), ({"LANG": "C.UTF-8", "LANGUAGE": "de"}, "en"),
    ]  # fmt: skip
    for values, expected in cases:
        for name in ("LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"):
            monkeypatch.delenv(name, raising=False)
        for name, value in values.items():
            monkeypatch.setenv(name, value)
        assert asked(None) == expected, values
        assert asked("es_MX") == "es"


def test_an_unknown_language_is_refused_with_the_list() -> None:
    assert languages() == ["de", "en", "es", "pl"]
    with pytest.raises(Refusal, match="no language 'xx'; there are: de, en, es, pl"):
        asked("xx")


def test_what_a_catalogue_lacks_is_said_in_english() -> None:
    with speaking("de"):
        assert gettext("a sentence of tomorrow, {n} words", n=5) == "a sentence of tomorrow, 5 words"
        assert gettext("feed") == "füttern"


def test_a_caution_stands_beside_its_english_and_nobody_is_said_to_have_checked_it(tmp_path: Path) -> None:
    with speaking("es"):
        said = beside("Bites, escape: never fingers.")
        assert said.endswith(" / Bites, escape: never fingers.") and "nunca" in said
        assert "No native speaker has checked this translation." in unchecked()
    assert unchecked() == ""


def test_label_calendar_and_sitters_page_are_in_the_language_and_their_codes_are_not(
    repository: Path, tmp_path: Path, etholog: Run
) -> None:
    season = repository / "examples" / "season"
    page, dates = tmp_path / "sitter.html", tmp_path / "due.ics"
    words = ("due", "--folder", season, "--today", "2026-09-05")
    done = etholog(*words, "--sitter", page, "--ics", dates, "--language", "pl")
    assert done.returncode == 0, done.stderr
    text = page.read_text(encoding="utf-8")
    assert '<html lang="pl">' in text and "sobota 2026-09-05" in text
    assert "Nigdy nie wypuszczaj zwierzęcia." in text and "Never release an animal." in text
    english = tmp_path / "english.ics"
    assert etholog(*words, "--ics", english).returncode == 0

    def own_ids(file: Path) -> list[str]:
        return re.findall(r"^UID:.*$", file.read_text(encoding="utf-8"), re.M)

    assert own_ids(dates) == own_ids(english) != []
    label = etholog("label", "F-Umbra", "--folder", season, "--language", "de").stdout
    assert "Deckel zur Hand. Nicht öffnen oder schütteln. / Lid at hand. Don't open or shake." in label
    assert "niemand geprüft" in label


def test_a_report_is_in_the_language_of_the_environment(repository: Path, tmp_path: Path, etholog: Run) -> None:
    session = "20260304-2108-M-Amber-F-Fern.jsonl"
    page = tmp_path / "page.html"
    surroundings = {**os.environ, "LANG": "de_DE.UTF-8"}
    done = etholog("report", repository / "examples" / "season" / "sessions" / session, "--out", page, env=surroundings)
    assert done.returncode == 0, done.stderr
    text = page.read_text(encoding="utf-8")
    assert '<html lang="de">' in text and "<h1>M-Amber mit F-Fern, 2026-03-04 21:08</h1>" in text
    assert "Trommeln mit den Tastern" in text and "palpal drumming" not in text
    assert {">Halter<", ">Paar<", ">Weibchen<"} <= (cells := set(re.findall(r">[^<]+<", text)))
    assert not {">keeper<", ">pair<", ">female<"} & cells
    assert "come before this page.</p>" in text and "gehen dieser Seite vor." in text


def test_an_ethogram_may_carry_labels_in_several_languages(tmp_path: Path) -> None:
    text = (ethogram.shipped() / "wolf-spider.toml").read_text(encoding="utf-8")
    own = tmp_path / "own.toml"
    labelled = text.replace(
        'label = "leg waving"', 'label = "leg waving"\nlabels = { fr = "agite les pattes", de = "winkt" }'
    )
    own.write_text(labelled, encoding="utf-8")
    with pytest.raises(Refusal, match="`labels` belongs to format 'etholog-ethogram/3'"):
        ethogram.read(own)
    own.write_text(labelled.replace("etholog-ethogram/2", "etholog-ethogram/3"), encoding="utf-8")
    waving = ethogram.read(own).by_code["leg_waving"]
    assert ethogram.from_plain(ethogram.read(own).plain()).by_code["leg_waving"] == waving
    with speaking("de"):
        assert waving.words == "winkt"
    with speaking("es"):
        assert waving.words == "agita las patas"  # of the catalogue, as the shipped label has none
    assert waving.words == "leg waving"


def test_what_the_statistics_say_is_in_the_language(repository: Path) -> None:
    season = etholog.read(repository / "examples" / "season")
    times = etholog.latency(season, "courtship")
    with speaking("de"):
        found = etholog.compare(times, "male", permutations=200)
        told = [found.sentence, etholog.transition(season).sentence, *found.pairs["why"], *found.table["why"]]
        told += sentences(sensitivity(times, "male", permutations=200))
        told += confounded(times, "female")
    english = re.compile(r"\b(the|of|from|which|sessions?|smallest|no|had|they|with)\b", re.I)
    assert len(told) > 10
    assert [one for one in told if english.search(one)] == []
    assert re.search(r"p = 0,\d{4}", found.sentence)  # a decimal comma: CLDR


def test_the_numbers_beside_an_axis_are_written_as_in_the_language() -> None:
    with rules():
        figure = plate("page", 2.0)
        figure.subplots().set_xlim(0, 0.5)
    assert b">0.1<" in figure.page_svg()
    with speaking("pl"):
        assert b">0,1<" in figure.page_svg()


def test_a_plan_is_a_calendar_in_the_language(repository: Path, tmp_path: Path, etholog: Run) -> None:
    words = ("plan", "--folder", repository / "examples" / "season", "--today", "2026-03-01")
    words += ("--species", "Brachypelma smithi")
    done = etholog(*words, "--ics", tmp_path / "plan.ics", "--language", "es")
    assert done.returncode == 0, done.stderr
    text = (tmp_path / "plan.ics").read_text(encoding="utf-8").replace("\n ", "")
    assert "introducir a M-" in text and "tu plan" in text
    assert "la mayoría se aparea de 14 a 180 días" in text and "most pair" not in text
    refused = etholog(*words, "--language", "es")
    assert refused.returncode == 2
    assert "--language goes with --ics" in refused.stderr


@pytest.mark.parametrize("language", ["de", "es", "pl"])
def test_what_is_wrong_with_a_journal_is_told_in_the_language(language: str, repository: Path, tmp_path: Path) -> None:
    whole = sorted((repository / "examples" / "season" / "sessions").glob("*.jsonl"))[0].read_bytes()
    lines = whole.splitlines(keepends=True)
    broken = {
        "a line": [*lines[:3], b"nothing\n", *lines[4:]],
        "a number": [*lines[:3], *lines[4:]],
        "an end": [*lines[:-1], lines[-1][:-20]],
        "line ends": [line.replace(b"\n", b"\r\n") for line in lines],
    }
    for name, kept in broken.items():
        file = tmp_path / f"{name}.jsonl"
        file.write_bytes(b"".join(kept))
        english = read(file).findings
        with speaking(language):
            told = read(file).findings
            assert len(told) == len(english) > 0, name
            assert all(f"{gettext('line {number}', number=one.line)}:" in str(one) for one in told if one.line)
        for one, other in zip(told, english, strict=True):
            assert one.what != other.what and one.remedy != other.remedy, name
    nothing = tmp_path / "nothing.jsonl"
    nothing.write_text("no journal\n", encoding="utf-8")
    with speaking(language), pytest.raises(Refusal) as refused:
        read(nothing)
    assert "not a journal" not in str(refused.value) and "take it out" not in str(refused.value)


@pytest.mark.parametrize("language", ["de", "es", "pl"])
def test_the_trace_of_a_film_is_drawn_in_the_language(language: str) -> None:
    seconds = np.arange(0, 60, 0.25)
    trace = pd.DataFrame({"film_s": seconds, "strength": 1 + np.sin(seconds)})
    stretches = pd.DataFrame({"onset_s": [5.0], "offset_s": [9.0], "disturbed": [False]})
    english = words(figures.activity(trace, stretches))
    with speaking(language):
        told = words(figures.activity(trace, stretches))
    assert len(told) == len(english) and not {word for word in told & english if word.count(" ") or word == "look"}


def words(figure: figures.ReproducibleFigure) -> set[str]:
    """All texts of a figure that are more than a number."""
    texts = (text.get_text() for text in figure.findobj(Text))
    return {text for text in texts if any(letter.isalpha() for letter in text)}
