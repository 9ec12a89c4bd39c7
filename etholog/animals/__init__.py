"""Cards and the herd that they make up: pedigree, attempts, what is due, readiness."""

from etholog.animals.herd import Animals, Pairing, questions, read

__all__ = ["Animals", "Pairing", "attempts", "card", "care", "life", "pedigree", "questions", "read", "readiness"]
