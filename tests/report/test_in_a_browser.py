"""The page in a real Chromium: it opens, sorts, prints, is usable by all, and asks nothing of any network."""

import io
import re
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pandas as pd
import pypdf
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

import etholog
from etholog.analysis.outcome import outcomes
from etholog.base.text import visible
from etholog.report import sheet
from tests.make import marks, write_session
from tests.report.conftest import SEASON, report

pytestmark = pytest.mark.slow

BY_MALE = "section[aria-labelledby=latency-courtship] >> table >> nth=0"
Opened = tuple[Page, list[str]]


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Callable[..., Opened]]:
    """Open a file and note all that it says on the console, and all that it asks for besides itself."""
    contexts = []

    def open_it(file: Path, **options: object) -> Opened:
        context = browser.new_context(**options)  # type: ignore[arg-type]
        contexts.append(context)
        page, noted = context.new_page(), []
        page.on("console", lambda message: noted.append(f"console: {message.text}"))
        page.on("pageerror", lambda error: noted.append(f"error: {error}"))
        page.on("dialog", lambda dialog: (noted.append(f"dialog: {dialog.message}"), dialog.dismiss()))
        page.on(
            "request",
            lambda request: (
                None
                if request.url == file.as_uri() or request.url.startswith("data:")
                else noted.append(f"request: {request.url}")
            ),
        )
        page.goto(file.as_uri())
        return page, noted

    yield open_it
    for context in contexts:
        context.close()


@pytest.mark.parametrize("which", ["season_page", "three_page", "session_page"])
def test_it_opens_without_a_word_and_asks_for_nothing(
    which: str, open_page: Callable[..., Opened], request: pytest.FixtureRequest
) -> None:
    page, noted = open_page(request.getfixturevalue(which))
    assert page.locator("h1").count() == 1
    assert page.locator("svg.figure").first.is_visible()
    for link in page.locator("nav a").all():
        target = link.get_attribute("href")
        assert page.locator(f"[id='{target[1:]}']").count() == 1  # type: ignore[index]
    names = page.evaluate("[...document.querySelectorAll('[id]')].map(element => element.id)")
    assert len(names) == len(set(names))
    wanted = page.evaluate(
        "[...document.querySelectorAll('svg *')].flatMap(e => [...e.attributes]).map(a => a.value)"
        ".flatMap(v => [...v.matchAll(/url\\(#(.*?)\\)|^#(.+)$/g)]).map(m => m[1] ?? m[2])"
    )
    assert not [name for name in wanted if name not in names and len(name) != 6]  # six: a colour
    assert noted == []


def test_the_policy_lets_nothing_else_run_or_load(session_page: Path, open_page: Callable[..., Opened]) -> None:
    page, noted = open_page(session_page)
    blocked: list[str | None] = []
    page.on("requestfailed", lambda request: blocked.append(request.failure))
    page.evaluate(
        """() => {
            const script = document.createElement("script");
            script.textContent = "window.ran = true";
            document.body.append(script);
            const image = document.createElement("img");
            image.src = "http://example.invalid/x.png";
            document.body.append(image);
            const button = document.createElement("button");
            button.setAttribute("onclick", "window.ran = true");
            document.body.append(button);
            button.click();
            document.body.setAttribute("style", "position: fixed");
        }"""
    )
    page.wait_for_timeout(100)
    assert page.evaluate("window.ran") is None
    assert page.evaluate("getComputedStyle(document.body).position") == "static"
    assert blocked == ["csp"]  # before it left
    # https://www.w3.org/TR/CSP3/: each of the four is told of as refused.
    assert len([note for note in noted if "Content Security Policy" in note]) >= 4


def column(page: Page, table: int, at: int) -> list[str]:
    return page.evaluate(
        "([table, at]) => [...document.querySelectorAll('table')[table].tBodies[0].rows]"
        ".map(row => row.cells[at].dataset.sort ?? row.cells[at].textContent)",
        [table, at],
    )


def test_the_table_is_the_one_of_the_package_and_sorts_by_keyboard(
    season_page: Path, open_page: Callable[..., Opened]
) -> None:
    page, _ = open_page(season_page)
    found = etholog.compare(etholog.latency(etholog.read(SEASON), "courtship"), by="male").table
    heads = [head.strip() for head in page.locator(BY_MALE).locator("th").all_inner_texts()]
    assert heads[:4] == ["male ↕"[:4], "sessions", "it came", "median, s"]
    assert column(page, 1, 0) == list(found.index)
    shown = pd.Series(column(page, 1, 3), index=found.index).astype(float)
    pd.testing.assert_series_equal(shown, found["median_s"], check_names=False)

    button = page.locator(BY_MALE).locator("th", has_text="median, s").locator("button")
    button.focus()
    page.keyboard.press("Enter")
    assert [float(value) for value in column(page, 1, 3)] == sorted(found["median_s"])
    assert page.locator(BY_MALE).locator("th[aria-sort]").all_inner_texts() == ["median, s"]
    assert page.get_by_role("status").inner_text() == "Sorted by median, s, ascending."
    page.keyboard.press("Enter")
    assert [float(value) for value in column(page, 1, 3)] == sorted(found["median_s"], reverse=True)
    assert page.locator(BY_MALE).locator("th[aria-sort]").get_attribute("aria-sort") == "descending"
    whole_rows = {row.split("\t")[0]: row for row in page.locator(BY_MALE).locator("tbody tr").all_inner_texts()}
    assert set(whole_rows) == set(found.index)
    assert whole_rows["M-Flint"].split("\t")[1:3] == ["5", "5"]


def test_what_came_of_the_pairings_is_the_package_s_own(season_page: Path, open_page: Callable[..., Opened]) -> None:
    page, _ = open_page(season_page)
    attempts = outcomes(etholog.read(SEASON), date.today())
    assert column(page, 0, 0) == list(attempts["female"])
    assert column(page, 0, 7) == list(attempts["end"])
    sacs = (attempts["end"] == "sac").sum()
    assert f"{sacs} gave a sac" in page.locator("section[aria-labelledby=outcomes] .answer").inner_text()


def test_what_is_not_known_stays_last_either_way(season_page: Path, open_page: Callable[..., Opened]) -> None:
    page, _ = open_page(season_page)
    at = 7  # third quarter by
    known = etholog.compare(etholog.latency(etholog.read(SEASON), "courtship"), by="male").table["q75_s"]
    assert 0 < known.isna().sum() < len(known)
    button = page.locator(BY_MALE).locator("th").nth(at).locator("button")
    for reverse in (False, True):
        button.click()
        values = column(page, 1, at)
        assert values[-int(known.isna().sum()) :] == [""] * int(known.isna().sum())
        assert [float(value) for value in values if value] == sorted(known.dropna(), reverse=reverse)


@pytest.mark.parametrize(
    ("which", "how"),
    [
        ("three_page", {}),
        ("session_page", {"color_scheme": "dark"}),
        ("session_page", {"viewport": {"width": 390, "height": 844}}),
    ],
    ids=["three", "dark", "phone"],
)
def test_axe_finds_nothing(
    which: str, how: dict[str, object], open_page: Callable[..., Opened], request: pytest.FixtureRequest
) -> None:
    page, _ = open_page(request.getfixturevalue(which), **how)
    # All rules of axe-core, best practices too; open what is folded, so that it is judged as well.
    page.evaluate("document.querySelectorAll('details').forEach((folded, at) => { folded.open = at < 3 })")
    found = Axe().run(page, options={})
    assert found.violations_count == 0, found.generate_report()
    passed = {rule["id"] for rule in found.response["passes"]}
    assert {"color-contrast", "page-has-heading-one", "svg-img-alt", "landmark-one-main"} <= passed


def test_on_a_phone_the_page_itself_does_not_scroll_sideways(
    three_page: Path, open_page: Callable[..., Opened]
) -> None:
    page, _ = open_page(three_page, viewport={"width": 360, "height": 740})
    assert page.evaluate("document.documentElement.scrollWidth") == 360


@pytest.mark.parametrize("which", ["three_page", "session_page"])
@pytest.mark.parametrize("width", [390, 820, 1440])
def test_figures_fit_every_width_and_tables_say_that_they_scroll(
    width: int, which: str, open_page: Callable[..., Opened], request: pytest.FixtureRequest
) -> None:
    page, _ = open_page(request.getfixturevalue(which), viewport={"width": width, "height": 900})
    page.evaluate("document.querySelectorAll('details').forEach(folded => { folded.open = true })")
    shown = "[...document.querySelectorAll('svg.figure')].filter(figure => figure.getClientRects().length)"
    assert set(page.evaluate(f"{shown}.map(figure => figure.classList[1])")) == {"column" if width == 390 else "page"}
    assert page.evaluate(f"{shown}.length") == page.evaluate("document.querySelectorAll('figure').length")
    ends = "figure => Math.max(...[...figure.querySelectorAll('text, path')].map(e => e.getBoundingClientRect().right))"
    assert max(page.evaluate(f"{shown}.map({ends})")) <= width
    assert (
        page.evaluate("Math.max(...[...document.querySelectorAll('.total')].map(e => e.getBoundingClientRect().right))")
        <= width
    )
    beside = "s.getBoundingClientRect().right > s.closest('.scroll').getBoundingClientRect().right + 1"
    assert page.evaluate(f"[...document.querySelectorAll('caption > span')].filter(s => {beside}).length") == 0
    hidden = "[...document.querySelectorAll('.scroll')].filter(e => e.scrollWidth > e.clientWidth + 1)"
    if width == 390:
        assert (
            page.evaluate(f"{hidden}.filter(e => !e.querySelector('.sideways')?.getClientRects().length).length") == 0
        )
        assert page.evaluate(f"{hidden}.length") > 0


def test_no_cell_runs_into_the_next(tmp_path: Path, open_page: Callable[..., Opened]) -> None:
    (tmp_path / "sessions").mkdir()
    answers = {"again": "yes", "again_when": "2026-05-20"}  # 'pair her again with M-1, as you chose'
    made = [*marks((1000, "touch", None)), {"do": "close", "t": 600_000, "outcome": answers}]
    write_session(tmp_path / "sessions" / "a.jsonl", made, male="M-Dawn")
    report(tmp_path / "sessions" / "a.jsonl", "--out", tmp_path / "a.html")
    page, _ = open_page(tmp_path / "a.html", viewport={"width": 390, "height": 844})
    assert "pair her again with M-Dawn, as you chose" in page.locator("td").all_inner_texts()
    assert page.evaluate("[...document.querySelectorAll('td')].filter(e => e.scrollWidth > e.clientWidth).length") == 0


@pytest.mark.parametrize("width", [390, 1440])
def test_what_happened_fits_one_screen(width: int, season_page: Path, open_page: Callable[..., Opened]) -> None:
    page, _ = open_page(season_page, viewport={"width": width, "height": 900})
    short = page.locator("section.short").bounding_box()
    assert short is not None
    assert short["y"] + short["height"] <= 900
    assert page.locator("section.short dd").count() == 3


def test_the_page_of_one_session_is_about_that_evening(session_page: Path, open_page: Callable[..., Opened]) -> None:
    from etholog import session
    from etholog.session import log
    from tests.report.conftest import SESSION

    page, _ = open_page(session_page)
    heads = page.locator("h2").all_inner_texts()[:6]
    assert heads == [
        "In short", "The evening", "How far did it come?", "What is to be done next?", "What was marked?", "Questions",
    ]  # fmt: skip
    told = page.locator("section[aria-labelledby=log] tbody tr").all_inner_texts()
    assert [line.replace("\t", "  ") for line in told] == [log.line(one) for one in log.entries(session.read(SESSION))]
    assert page.locator(".ladder .reached").count() == 1
    assert page.locator(".ladder .reached").last.inner_text() == "clear insertions of both palps: as far as this"


@pytest.mark.parametrize(("paper", "width_mm"), [("A4", 210), ("Letter", 215.9)])
def test_it_prints_on_paper_light_unfolded_and_within_the_margins(
    paper: str, width_mm: float, three_page: Path, open_page: Callable[..., Opened]
) -> None:
    width = int((width_mm - 28) / 25.4 * 96)  # CSS pixels between margins of 14 mm
    page, noted = open_page(three_page, viewport={"width": width, "height": 1000}, color_scheme="dark")
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.documentElement).getPropertyValue('--ground')") == "#ffffff"
    folded = page.locator("details.method dd").first
    assert folded.bounding_box()["height"] > 0  # type: ignore[index]  # on paper without a script too
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert page.locator("details:not([open])").count() == 0
    wide = page.evaluate(
        "width => [...document.querySelectorAll('table, svg.figure, p, dd, h2')]"
        ".filter(e => e.getBoundingClientRect().right > width + 1).map(e => e.textContent.trim().slice(0, 60))",
        width,
    )
    assert wide == []
    assert page.pdf(format=paper).startswith(b"%PDF-")
    assert noted == []


def ends_of_pages(page: Page, height_mm: int) -> list[str]:
    """Print, and return the last words of each page."""
    printed = pypdf.PdfReader(io.BytesIO(page.pdf(width="210mm", height=f"{height_mm}mm")))
    return [one.extract_text().strip()[-40:] for one in printed.pages]


def test_no_head_of_a_table_stands_alone_at_the_foot_of_a_page(
    season_page: Path, open_page: Callable[..., Opened]
) -> None:
    page, _ = open_page(season_page)
    head = "what is missing, and why"  # the last of the broadest tables
    assert page.get_by_text(head, exact=True).count() > 5
    for height_mm in (297, 285, 279, 270, 260):
        ends = ends_of_pages(page, height_mm)
        assert len(ends) > 5
        assert [end for end in ends if " ".join(end.split()).endswith(head)] == []


def test_a_table_of_several_pages_has_its_head_on_each(season_page: Path, open_page: Callable[..., Opened]) -> None:
    page, _ = open_page(season_page)
    assert page.locator("th button").count() > 5  # with these the head was on the first page alone
    printed = pypdf.PdfReader(io.BytesIO(page.pdf(format="A4")))
    told = [" ".join(one.extract_text().split()) for one in printed.pages]
    first = next(at for at, text in enumerate(told) if "Durations and rates, by male" in text)
    last = next(at for at, text in enumerate(told) if at > first and "What follows what?" in text)
    assert last - first > 1
    assert [at for at, text in enumerate(told) if "in all, s" in text and first <= at < last] == [*range(first, last)]


def test_no_day_of_the_sitters_page_stands_alone_at_its_foot(tmp_path: Path, open_page: Callable[..., Opened]) -> None:
    sheet.write(tmp_path / "sitter.html", "Days", [(f"Day {n}", [f"water {n}"]) for n in range(60)])
    page, _ = open_page(tmp_path / "sitter.html")
    for height_mm in (297, 290, 285, 279):
        ends = ends_of_pages(page, height_mm)
        assert len(ends) > 1
        assert [end for end in ends if re.search(r"Day \d+$", end)] == []


def test_without_scripts_all_is_there(three_page: Path, open_page: Callable[..., Opened]) -> None:
    page, _ = open_page(three_page, java_script_enabled=False)
    assert page.locator(BY_MALE).locator("tbody tr").count() == 2  # males
    assert page.locator("th button").count() == 0  # no button that does nothing


HOSTILE = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "</style><script>alert(1)</script>",
    "{{ 7 * 7 }}{% raw %}",
    "&lt;b&gt; ]]> -->",
    "\u202egnp\x1b[31m",
    "$\\frac{1}{2}$",
]


@pytest.mark.parametrize("turn", range(2))
def test_hostile_words_are_shown_and_nothing_more(turn: int, tmp_path: Path, open_page: Callable[..., Opened]) -> None:
    words = HOSTILE[turn:] + HOSTILE[:turn]
    outcome = {words[5]: words[6]}
    made = [*marks((0, "walking", "onset"), (5000, "touch", None)), {"do": "close", "t": 9000, "outcome": outcome}]
    said = dict(zip(("male", "female", "observer", "species", "place"), words, strict=False))
    write_session(tmp_path / "a.jsonl", made, **said)
    report(tmp_path / "a.jsonl", "--out", tmp_path / "a.html")
    page, noted = open_page(tmp_path / "a.html")
    assert noted == []
    shown = page.locator("body").inner_text()
    for word in words:
        assert visible(word) in shown
    assert page.locator("script").count() == 1
    assert page.locator("img, b").count() == 0
    for character in "\u202e\x1b":
        assert character not in (tmp_path / "a.html").read_text(encoding="utf-8")
