"""What may be recorded: behaviours, chains, intervals, prompts, limits and aftercare of one group of species, from
one TOML file."""

from etholog.ethogram.file import at_hand, find, from_plain, read, shipped
from etholog.ethogram.schema import (
    STAGES,
    Aftercare,
    Behaviour,
    Choice,
    Ethogram,
    Hand,
    Interval,
    Limit,
    Press,
    Prompt,
    Stage,
    known_marks,
)

__all__ = [
    "STAGES",
    "Aftercare",
    "Behaviour",
    "Choice",
    "Ethogram",
    "Hand",
    "Interval",
    "Limit",
    "Press",
    "Prompt",
    "Stage",
    "at_hand",
    "find",
    "from_plain",
    "known_marks",
    "own_keys",
    "read",
    "shipped",
]
