"""What a notebook shows of a result is the result's own table, read back from the HTML."""

from html.parser import HTMLParser
from typing import Any

import pytest

import etholog
from tests.conftest import REPOSITORY


class _Cells(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_data(self, data: str) -> None:
        self.text += data
        if self.rows and self.rows[-1]:
            self.rows[-1][-1] += data.strip()


def shown(result: Any) -> _Cells:
    page = _Cells()
    page.feed(result._repr_html_())
    return page


@pytest.fixture(scope="module")
def season() -> etholog.Season:
    return etholog.read(REPOSITORY / "examples" / "season")


def test_a_comparison_shows_its_sentence_and_its_table(season: etholog.Season) -> None:
    found = etholog.compare(etholog.latency(season, "courtship"), by="male", permutations=99)
    page = shown(found)
    assert found.sentence in page.text
    males = {row[0]: row for row in page.rows if row[0].startswith("M-")}
    assert set(males) == set(found.table.index)
    head = page.rows[0]
    for male, row in males.items():
        assert float(row[head.index("median_s")]) == pytest.approx(found.table.loc[male, "median_s"], rel=1e-3)


def test_transitions_show_their_counts(season: etholog.Season) -> None:
    found = etholog.transition(season, actor="male")
    page = shown(found)
    assert found.sentence in page.text
    assert [row[0] for row in page.rows[1 : 1 + len(found.counts)]] == list(found.counts.index)


def test_an_agreement_shows_kappa(season: etholog.Season) -> None:
    bouts = season.bouts[season.bouts["session"] == season.sessions["session"].iloc[1]]
    found = etholog.agreement(bouts, bouts)
    assert "kappa 1.000" in shown(found).text
    assert {row[0] for row in shown(found).rows} >= set(found.table.index)


def test_a_long_season_shows_its_ends_alone(season: etholog.Season) -> None:
    page = shown(season)
    assert page.text.startswith(f"{len(season.sessions)} sessions of 6 males")
    assert len(page.rows) == 1 + 24 + 1  # head, rows, and the row of dots between
    names = list(season.sessions["session"])
    assert [page.rows[1][1], page.rows[-1][1]] == [names[0], names[-1]]
