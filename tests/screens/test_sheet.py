"""A key changes lines of the screen; it never has the screen laid out anew, which would cost several times as much."""

from pathlib import Path

import pytest
from textual.pilot import Pilot

from etholog.screens.themes import THEMES, Look
from etholog.screens.watching import Watching
from tests.screens.captures import evening, seen, strip, text

pytestmark = pytest.mark.slow

ALL_THE_STATES = "qwertyu6asfghz"  # so many that what runs takes lines more


async def rows_and_layouts(pilot: Pilot[object], on_screen: Watching, *keys: str) -> tuple[list[str], int]:
    """What stands on the screen after some keys, line by line, and how often it was laid out for them."""
    layouts = []
    on_screen.screen_layout_refresh_signal.subscribe(on_screen, layouts.append, immediate=True)
    await pilot.press(*keys)
    await pilot.pause()
    return text(seen(pilot)).splitlines(), len(layouts)


@pytest.mark.parametrize("size", [(60, 20), (80, 24), (160, 48)], ids=lambda size: f"{size[0]}x{size[1]}")
async def test_more_lines_or_fewer_lay_nothing_out_anew(tmp_path: Path, size: tuple[int, int]) -> None:
    app, on_screen = strip(evening(tmp_path), Look(THEMES["day"]))
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        rows, layouts = await rows_and_layouts(pilot, on_screen, *ALL_THE_STATES)
        assert layouts == 0
        above = next(at for at, row in enumerate(rows) if row.startswith(" now: "))
        assert rows[above + 1].strip(), "what runs does not take a second line, so nothing was asked"
        assert "Backspace takes" in rows[-1] or size == (160, 48)
        rows, layouts = await rows_and_layouts(pilot, on_screen, "space")
        assert layouts == 0
        assert any("YOU FIRST" in row for row in rows)
        assert any("RESCUE: the moment is kept" in row for row in rows)
        rows, layouts = await rows_and_layouts(pilot, on_screen, "`")
        assert layouts == 0
        assert not any("YOU FIRST" in row for row in rows)


@pytest.mark.parametrize("size", [(60, 20), (80, 24), (160, 48)], ids=lambda size: f"{size[0]}x{size[1]}")
async def test_a_line_is_typed_below_what_runs(tmp_path: Path, size: tuple[int, int]) -> None:
    app, on_screen = strip(evening(tmp_path), Look(THEMES["day"]))
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        await pilot.press("enter", "h", "i")
        await pilot.pause()
        rows = text(seen(pilot)).splitlines()
        at = rows.index("hi")
        assert rows[at - 1].startswith(" now: ")
        assert not any(rows[at + 1 :])
        await pilot.press("escape")
        await pilot.pause()
        assert "Backspace takes back" in text(seen(pilot)).splitlines()[at]
        assert on_screen.takes_keys
