"""Places and people's names, left out of what is gathered from several keepers."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from etholog.animals.custody import AWAY, whom
from etholog.animals.sources import Source

# Entries whose words are somebody's name, first; in `shares` and `split` there are several.
_PERSON = ("lent", "borrowed", "returned", "sold", "given", "placed")
_PEOPLE = ("shares", "split")
NAMED = (*_PERSON, *_PEOPLE, "got", "moved")  # their words may be left out
WRITTEN = ("note", "sign", "practice", "died")  # and names in the words of these
A_KEEPER, A_PLACE, LEFT_OUT = "a keeper", "another place", "[left out]"
_PART = re.compile(r"(.+?)(\s+\d+(?:\.\d+)?\s*%?)", re.ASCII)


@dataclass(frozen=True)
class Veil:
    """What is left out: `places`, `people`, and in what was written freely the `names` of both."""

    places: bool = True
    people: bool = True
    names: frozenset[str] = frozenset()

    @classmethod
    def over(cls, source: Source, places: bool, people: bool) -> "Veil":
        """Return what is to be left out of a source; its names are those that its entries and sessions have."""
        found = set[str]()
        for one in source.sessions:
            found |= {str(one.header["observer"])} if people else set()
            found |= {str(one.header["place"])} if places else set()
        told = ((str(r["do"]), str(r.get("words", ""))) for one in source.cards for r in one.records)
        return cls(places, people, _worth(found)).seeing(told)

    def seeing(self, told: Iterable[tuple[str, str]]) -> "Veil":
        """Return the veil with the names, too, that entries have (kind, words), where people are left out."""
        found = set[str]()
        for kind, words in told if self.people else ():
            if kind in _PERSON:
                found.add(whom(words)[0])
            if kind in _PEOPLE:
                found |= {part[1] for part in map(_PART.fullmatch, _parts(words)) if part}
        return replace(self, names=self.names | _worth(found))

    def words(self, kind: str, words: str) -> str:
        """Return an entry's words with nobody's name, and no place, in them."""
        if not words:
            return words
        if kind in _PERSON and self.people:
            return A_KEEPER + _until(words)
        if kind in _PEOPLE and self.people:
            return ", ".join(_nameless(_parts(words)))
        if kind == "got" and (self.people or self.places):
            return ""
        if kind == "moved":
            away = AWAY.match(words)
            if away is None:
                return A_PLACE if self.places else words
            to = f"{away[3]} {A_KEEPER}" if away[3] else ""
            return away[1] + to + _until(words) if self.people else words
        return self.prose(words) if kind in WRITTEN else words

    def prose(self, text: str) -> str:
        """Return what was written freely, the names that are known left out."""
        for name in sorted(self.names, key=len, reverse=True):
            text = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", LEFT_OUT, text, flags=re.IGNORECASE)
        return text

    def answers(self, told: Mapping[str, Any]) -> dict[str, Any]:
        """Return the answers of a form, their words looked through."""
        return {name: self.prose(value) if isinstance(value, str) else value for name, value in told.items()}


def _worth(names: Iterable[str]) -> frozenset[str]:
    """Return the names that are looked for in what was written freely: a single letter is none."""
    return frozenset(name for name in names if len(name) > 1 and name.casefold() != "me")


def _parts(words: str) -> list[str]:
    return [part.strip() for part in words.split(",")]


def _until(words: str) -> str:
    until = whom(words)[1]
    return f" until {until}" if until else ""


def _nameless(parts: Iterable[str]) -> Iterable[str]:
    """Yield parts of young, each with a letter in the place of whose it is; one's own stay one's own."""
    letters = iter("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    for part in parts:
        found = _PART.fullmatch(part)
        if found is None:
            yield LEFT_OUT
        else:
            yield part if found[1].casefold() == "me" else f"keeper {next(letters, 'Z')}{found[2]}"
