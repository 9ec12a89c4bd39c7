"""The page for a sitter: what to do on which day, what never to do, whom to call. Common practice, no source."""

from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

from tests.make import write_card


def test_a_sitter_is_told_what_to_do_and_what_to_leave(
    tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    species = ("species", "2020", "Brachypelma smithi")
    write_card(tmp_path, "M-1", ("sex", "2020", "male"), species)
    write_card(tmp_path, "F&1", ("sex", "2020", "female"), species, ("water", "2026-05-28"), ("meal", "2026-05-28"))
    write_card(
        tmp_path, "F-2", ("sex", "2020", "female"), species, ("paired", "2026-05-25", "M-1"), ("sac", "2026-05-01")
    )
    write_card(tmp_path, "F-3", ("sex", "2020", "female"), species, ("paired", "2026-05-25", "M-1"))
    (tmp_path / "poison-centre.txt").write_text("Poison centre: 555 0100\n", encoding="utf-8")
    done = etholog("due", "--sitter", "s.html", "--today", "2026-06-01", cwd=tmp_path)
    assert done.returncode == 0
    page = (tmp_path / "s.html").read_text(encoding="utf-8")
    assert page.count("<h2>") == 2 + 14 + 1
    assert (
        page.index("Poison centre: 555 0100")
        < page.index("Never put two animals together")
        < page.index("2026-06-01</h2>")
    )
    day = page[page.index("2026-06-04</h2>") : page.index("2026-06-05</h2>")]
    assert "[ ] F&amp;1: water" in day
    assert "[ ] F&amp;1: water" in page[page.index("2026-06-11</h2>") : page.index("2026-06-12</h2>")], "a week later"
    keeper = page[page.index("For the keeper") :]
    assert "F-3: a second introduction?" in keeper
    assert "introduction" not in page[: page.index("For the keeper")]
    assert "tarantula hairs" in page
