"""The terminal screens: the strip, forms, the desk, the card browser, the line-by-line mode."""

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
