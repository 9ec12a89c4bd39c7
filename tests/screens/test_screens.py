"""The main screens at three sizes and in three themes: their words against those looked at, their colours by rule."""

import re
import signal
from pathlib import Path

import pytest
from rich.segment import Segment

from etholog.screens.strip import PLAIN
from etholog.screens.themes import THEMES, Look
from tests.make import luminance
from tests.screens.captures import FOLDER, SCREENS, SIZES, drawn, text, watching
from tests.screens.terminal import WATCH, Terminal

pytestmark = pytest.mark.slow


def colours(lines: list[list[Segment]]) -> set[tuple[str, str]]:
    """Foreground and background, as #rrggbb, of each piece that shows something; a blank shows its ground alone."""
    found = set()
    for line in lines:
        for piece in line:
            style = piece.style
            assert style is not None
            assert style.bgcolor is not None, f"{piece.text!r} stands on whatever ground the terminal has"
            assert not style.blink and not style.blink2
            ground = style.bgcolor.get_truecolor().hex
            ink = style.color.get_truecolor().hex if style.color is not None and piece.text.strip() else ground
            found.add((ground, ink) if style.reverse else (ink, ground))
    return found


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("name", SCREENS)
async def test_the_words_on_the_screens(name: str, size: tuple[int, int]) -> None:
    looked_at = (FOLDER / f"{name}-{size[0]}x{size[1]}.txt").read_text(encoding="utf-8")
    assert text(await drawn(name, size)) == looked_at, "look at it; `python -m tests.screens.captures` keeps it"


@pytest.mark.parametrize("name", SCREENS)
async def test_themes_change_no_word_and_plain_characters_are_plain(name: str) -> None:
    screens = {theme: text(await drawn(name, (80, 24), theme)) for theme in THEMES}
    assert len(set(screens.values())) == 1, "something is told by colour alone, or lost with it"
    plain = text(await drawn(name, (80, 24), "day", PLAIN))
    assert plain.isascii()
    assert plain == (FOLDER / f"{name}-ascii.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", SCREENS)
async def test_night_is_dark_and_red_and_nothing_else(name: str) -> None:
    for pair in colours(await drawn(name, (80, 24), "night")):
        for colour in pair:
            red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
            assert green <= 0x2A >= blue, f"{colour} is no red"
            assert luminance(colour) < 0.25, f"{colour} is bright"
            assert red or not green + blue


@pytest.mark.parametrize("name", SCREENS)
async def test_mono_has_no_hue(name: str) -> None:
    for pair in colours(await drawn(name, (80, 24), "mono")):
        assert all(colour[1:3] == colour[3:5] == colour[5:7] for colour in pair), pair


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("name", SCREENS)
async def test_every_word_stands_out_from_its_ground(name: str, theme: str) -> None:
    # W3C, Web Content Accessibility Guidelines 2.2, success criterion 1.4.3; at night less, by intent.
    least = 3.0 if theme == "night" else 4.5
    for ink, ground in colours(await drawn(name, (80, 24), theme)):
        lighter, darker = sorted((luminance(ink), luminance(ground)), reverse=True)
        assert ink == ground or (lighter + 0.05) / (darker + 0.05) >= least, (ink, ground)


def test_night_on_a_terminal_of_16_colours_uses_black_and_red_alone(tmp_path: Path) -> None:
    environment = {"TERM": "xterm", "COLORTERM": "", "TEXTUAL_COLOR_SYSTEM": "standard"}
    with Terminal(*WATCH, "--theme", "night", cwd=tmp_path, **environment) as terminal:
        terminal.start()
        for key in "dvx ":
            terminal.type(key)
            terminal.read(0.3)
        terminal.until("YOU FIRST")
        terminal.kill(signal.SIGKILL)
        terminal.wait()
        codes = {int(code) for codes in re.findall(rb"\x1b\[([\d;]+)m", terminal.raw) for code in codes.split(b";")}
    # ECMA-48, select graphic rendition: 30 to 37 and 40 to 47 are colours, 90 to 97 and 100 to 107 their bright kin.
    assert {code for code in codes if 30 <= code <= 47 or code >= 90} <= {30, 31, 40, 41, 91, 101}
    assert 31 in codes or 91 in codes


def test_without_colour_at_all_everything_is_still_said(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path, NO_COLOR="1") as terminal:
        terminal.start()
        terminal.type("d")
        shown = terminal.until("now: palpal drumming")
        assert "d  palpal drumming" in shown
        # https://no-color.org: no colour is added; greys are what is left.
        for red, green, blue in re.findall(rb"[34]8;2;(\d+);(\d+);(\d+)", terminal.raw):
            assert red == green == blue
        terminal.kill(signal.SIGKILL)
        terminal.wait()


async def test_how_long_ago_a_mark_was_keyed_is_told_wherever_it_was_moved_to(tmp_path: Path) -> None:
    moved = text(await watching("1")(tmp_path, Look(THEMES["day"]), (80, 24)))
    assert "moved to 0:05:1" in moved
    assert "last mark 0:00:11 ago" in moved
