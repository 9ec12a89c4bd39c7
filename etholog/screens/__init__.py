"""The terminal screens: the strip, forms, the desk, the card browser, the line-by-line mode."""

import os

# What changes just after something was painted waits for the next frame: of Textual's 60 a second that took a key that
# came after a tick of the clock 17 ms.
os.environ.setdefault("TEXTUAL_FPS", "250")

__all__ = [
    "amending",
    "app",
    "browse",
    "card_form",
    "closing",
    "driver",
    "feeding",
    "film_watching",
    "fit",
    "home",
    "mpv",
    "picking",
    "plain",
    "planning",
    "played",
    "stretch_watching",
    "strip",
    "themed",
    "themes",
    "watching",
]
