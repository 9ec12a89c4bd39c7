"""The terminal screens: the strip, forms, the desk, the card browser, the line-by-line mode."""

__all__ = [
    "amending",
    "app",
    "browse",
    "closing",
    "driver",
    "film_watching",
    "home",
    "mpv",
    "plain",
    "played",
    "stretch_watching",
    "strip",
    "themes",
    "watching",
]
