"""The few questions before the clock and after it, line by line, so that any terminal and any screen reader will do."""

from collections.abc import Callable
from typing import Any

Ask = Callable[[str], str]

ENDINGS = ("he got out", "keeper ended it", "she withdrew", "she attacked", "he was killed", "left together")
AFTER = ("calm", "restless", "hunting", "feeding", "hidden")


def missing(said: dict[str, str], ask: Ask) -> dict[str, str]:
    """Ask for the two animals where no option named them; everything may stay empty."""
    questions = {"male": "His name or id", "female": "Her name or id"}
    return said | {name: ask(f"{what}: ").strip()[:200] for name, what in questions.items() if not said[name]}


def outcome(ask: Ask) -> dict[str, Any]:
    """Ask how it ended. Each question may be skipped by Enter; what was skipped is not in the answer."""
    told: dict[str, Any] = {}
    ended = choose("How did it end?", ENDINGS, ask)
    if ended:
        told["ended"] = ended
    whole = ask("Is he whole? y or n (Enter skips): ").strip().lower()[:1]
    if whole in ("y", "n"):
        told["male_whole"] = whole == "y"
    after = choose("How is she now?", AFTER, ask)
    if after:
        told["female_after"] = after
    again = ask("Pair them again? In your own words, with a date if you like (Enter skips): ").strip()
    if again:
        told["again"] = again[:500]
    return told


def choose(question: str, choices: tuple[str, ...], ask: Ask) -> str:
    """Ask for one of the choices by its number, or for words of one's own; '' when skipped."""
    listed = "  ".join(f"{number} {choice}" for number, choice in enumerate(choices, 1))
    answer = ask(f"{question}  {listed}  (Enter skips): ").strip()
    if answer.isdecimal() and 1 <= int(answer) <= len(choices):
        return choices[int(answer) - 1]
    return answer[:200]
