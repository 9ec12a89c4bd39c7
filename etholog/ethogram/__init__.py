"""What may be recorded: behaviours, chains, intervals, prompts, limits and aftercare of one group of species, from
one TOML file."""

from etholog.ethogram.file import at_hand, find, from_plain, read, shipped, with_roles
from etholog.ethogram.roles import INTERVAL_ROLES, NEEDED, ROLES, IntervalRole, Role
from etholog.ethogram.schema import (
    FORMAT_1,
    FORMAT_2,
    REACH,
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
    free_keys,
    known_marks,
)

__all__ = [
    "FORMAT_1",
    "FORMAT_2",
    "INTERVAL_ROLES",
    "NEEDED",
    "REACH",
    "ROLES",
    "STAGES",
    "Aftercare",
    "Behaviour",
    "Choice",
    "Ethogram",
    "Hand",
    "Interval",
    "IntervalRole",
    "Limit",
    "Press",
    "Prompt",
    "Role",
    "Stage",
    "at_hand",
    "find",
    "free_keys",
    "from_plain",
    "known_marks",
    "own_keys",
    "read",
    "shipped",
    "with_roles",
]
