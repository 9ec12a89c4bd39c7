"""Colours of the watch screen. Actors have colours; every state is told by a word or a shape as well."""

from dataclasses import dataclass
from typing import NamedTuple

from etholog.screens.strip import BOXES, Glyphs


@dataclass(frozen=True)
class Theme:
    """Foregrounds on `ground`, as #rrggbb."""

    ground: str
    text: str
    faint: str
    alarm: str
    male: str
    female: str
    pair: str
    keeper: str

    def of(self, actor: str) -> str:
        """Return the colour of an actor."""
        colour: str = getattr(self, actor)
        return colour


THEMES = {
    # Okabe & Ito 2008, Color Universal Design: colours that colour-blind people tell apart.
    "day": Theme("#000000", "#ffffff", "#a0a0a0", "#f0e442", "#56b4e9", "#e69f00", "#009e73", "#cc79a7"),
    "night": Theme("#000000", "#d40000", "#c00000", "#ff2a1a", "#d80000", "#cc0000", "#e00000", "#c00000"),
    "mono": Theme("#000000", "#ffffff", "#b8b8b8", "#ffffff", "#ffffff", "#ffffff", "#ffffff", "#ffffff"),
}


class Look(NamedTuple):
    """How the screen is to look and behave."""

    theme: Theme
    glyphs: Glyphs = BOXES
    bell: bool = False
