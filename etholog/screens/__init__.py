"""The terminal screens: the strip, forms, the desk, the card browser, the line-by-line mode."""

__all__ = [
    "amending",
    "app",
    "driver",
    "film_watching",
    "home",
    "leaf",
    "mpv",
    "plain",
    "stretch_watching",
    "strip",
    "themes",
    "watching",
]
