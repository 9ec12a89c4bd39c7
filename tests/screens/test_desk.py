"""The desk in a small window: what finds no room is counted, and no line runs out of the window."""

from datetime import date
from pathlib import Path

import pytest
from rich.cells import cell_len

from etholog import animals
from etholog.animals.care import Task
from etholog.screens.home import Home
from etholog.screens.themes import THEMES, Look
from tests.screens.captures import seen, text

pytestmark = pytest.mark.slow

TODAY = date(2026, 5, 10)
SAID = "F-Umbra: moult, sex female, species Brachypelma smithi, note she walked along the wall for most of the night"
ALARM = "M-Flint.jsonl: a rescue file holds 3 records of it that were never taken in; etholog resume takes them in"
BROKEN_OFF = ["M-Flint x F-Umbra of 2026-05-03 21:15", "M-Flint x F-Alder of 2026-05-02 21:15"]


def due(animal: str) -> Task:
    what = "look for a sac (carried), by torch, without opening"
    return Task("", animal, what, TODAY, date(2026, 6, 1), "", "")


async def rows(folder: Path, tasks: list[Task], size: tuple[int, int], **said: list[str] | str) -> list[str]:
    (folder / "sessions").mkdir()
    desk = Home(Look(THEMES["day"]), animals.read(folder), tasks, TODAY, **said)  # type: ignore[arg-type]
    async with desk.run_test(size=size) as pilot:
        await pilot.pause()
        return text(seen(pilot)).splitlines()


@pytest.mark.parametrize(
    "said", [{"said": SAID}, {"alarms": [ALARM]}, {"broken_off": BROKEN_OFF}], ids=lambda said: next(iter(said))
)
async def test_what_is_due_and_finds_no_room_is_counted_under_long_words(
    tmp_path: Path, said: dict[str, list[str] | str]
) -> None:
    shown = await rows(tmp_path, [due(f"F-{number}") for number in range(9)], (60, 21), **said)
    assert any("F-0" in row for row in shown)
    assert any("... and 8 more" in row for row in shown), "\n".join(shown)


# Each of these characters is two columns wide (Unicode Standard Annex 11, East Asian Wide).
async def test_names_in_wide_letters_leave_what_is_due_its_column(tmp_path: Path) -> None:
    shown = await rows(tmp_path, [due("観察蜘蛛"), due("F-Umbra"), *map(due, "123456789")], (60, 20))
    first, second = (next(row for row in shown if name in row) for name in ("観察蜘蛛", "F-Umbra"))
    assert cell_len(first[: first.index("look")]) == cell_len(second[: second.index("look")])
    assert any("... and " in row for row in shown)
