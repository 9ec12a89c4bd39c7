"""Cards and the herd that they make up: pedigree, attempts, what is due, readiness, and the door by which entries come
in."""

from etholog.animals.doubts import questions
from etholog.animals.herd import Animals, Pairing, read

__all__ = [
    "Animals",
    "Pairing",
    "attempts",
    "availability",
    "card",
    "care",
    "cautions",
    "conflicts",
    "custody",
    "entering",
    "gathering",
    "groups",
    "life",
    "loan",
    "lot",
    "naming",
    "notebook",
    "pedigree",
    "questions",
    "read",
    "readiness",
    "sitter",
    "sources",
    "veil",
    "young",
]
