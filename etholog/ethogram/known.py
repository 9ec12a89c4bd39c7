"""The ethograms that etholog ships or has shipped: tests have checked them, so who reads one need not do it again."""

import hashlib
from collections.abc import Mapping
from typing import Any

from etholog.ethogram.schema import Aftercare, Behaviour, Choice, Ethogram, Interval, Limit, Prompt, as_line

# The SHA-256 of each one's file, and of what a session keeps of it (`Ethogram.hash`). A test names what is missing.
FILES = frozenset(
    {
        "30d94bdd2d73d66a578442f5c221945e5a0702d38d401a02e894d73770699cd6",  # arboreal 2.0
        "337964ac3831053cd728cb265691a4ee56a60d25e96be7217e83179b82239bdf",  # jumping-spider 2.0
        "0e5dbc832a171d10f3058be1028dc8c3241108b583ad738b3afe81f8af503b86",  # terrestrial 2.0
        "79e69b71346a58e551193c60ea604bab77f5d68b72bbb9c74b004b34c3f3706d",  # wolf-spider 2.0
        "fa201956fc181e0b09b165c12191a848235b92fe798e6a590bf0afe249d39edb",  # terrestrial 1.0
    }
)
HASHES = frozenset(
    {
        "f57b0d8bd5bf3665d609cdc50c83bdef2ca2dc52c074a69cecb4d6242813958f",  # arboreal 2.0
        "f7fd9349840b9774ad9d11f9ed59c14da86437646d0114deb714ab58064b7373",  # jumping-spider 2.0
        "bc7cac7376500aaf98e60f67112c6b1c32bfb9b7642be60d8b08a296eb09d566",  # terrestrial 2.0
        "3f5278dd66a1c534b99de886c4a3c0677df2862ff0a3fe347fc4c577325d076e",  # wolf-spider 2.0
        "52da2fc0b1f883c6180082e5b3e3e29e0105c7e7e177b4574e076b3332872bd1",  # terrestrial 1.0
    }
)

_TABLES = {
    "behaviour": Behaviour,
    "choices": Choice,
    "interval": Interval,
    "prompt": Prompt,
    "limit": Limit,
    "aftercare": Aftercare,
}
_FRACTIONS = ("minutes", "least", "most")


def is_shipped(text: str) -> bool:
    """Tell whether a file's text is that of a shipped ethogram, to the letter."""
    return hashlib.sha256(text.encode()).hexdigest() in FILES


def was_shipped(values: Mapping[str, Any]) -> bool:
    """Tell whether plain values are those of an ethogram that was shipped."""
    return hashlib.sha256(as_line(values).encode()).hexdigest() in HASHES


def built(values: Mapping[str, Any]) -> Ethogram:
    """Return the ethogram that plain values are which were checked."""
    return Ethogram(**_members(values))


def _members(values: Mapping[str, Any]) -> dict[str, Any]:
    return {name: _value(name, value) for name, value in values.items()}


def _value(name: str, value: Any) -> Any:
    if name in _TABLES:
        return tuple(_TABLES[name](**_members(one)) for one in value)
    if isinstance(value, list):
        return tuple(value)
    return float(value) if name in _FRACTIONS else value
