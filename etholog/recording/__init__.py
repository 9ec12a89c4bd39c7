"""From keys to records, without a screen: neither textual nor pandas is needed here."""

__all__ = [
    "amender",
    "arrivals",
    "begun",
    "corrector",
    "film_clock",
    "forms",
    "keyboard",
    "lanes",
    "live",
    "opening",
    "prompts",
    "recorder",
    "replay",
    "settings",
    "taps",
]
