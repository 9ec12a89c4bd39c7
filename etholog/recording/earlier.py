"""What is known from before: the animals, places and observers of earlier sessions, and how these two fared."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from etholog import ethogram, session
from etholog.animals import naming
from etholog.base import files
from etholog.base.refusal import Refusal
from etholog.base.workspace import root_of
from etholog.session.evidence import evidence

if TYPE_CHECKING:
    from etholog.session.record import Header

SHOWN = 3


@dataclass
class Earlier:
    """The sessions of a folder, latest first, by their first lines; and the names of the cards beside it."""

    folder: Path
    headers: list[tuple[Path, "Header"]] = field(default_factory=list)
    _read: dict[Path, str] = field(default_factory=dict)

    @cached_property
    def names(self) -> naming.Names:
        """What the animals are called now."""
        return naming.names(root_of(self.folder))

    def __post_init__(self) -> None:
        for name in reversed(files.listed(self.folder)[0]):
            path = self.folder / name
            try:
                header = session.header(path)
                male, female = (self.names.of(name) for name in (header["male"], header["female"]))
                self.headers.append((path, {**header, "male": male, "female": female}))
            except Refusal:
                continue  # `etholog check` tells what is wrong with it

    def known(self, name: str) -> list[str]:
        """Return what was said for a question before, latest first: of an animal, a species, a place, an observer."""
        said = [str(header.get(name) or header["conditions"].get(name) or "") for _, header in self.headers]
        if name in ("male", "female"):
            cards = files.listed(root_of(self.folder) / "animals", ".jsonl")[0]
            said += (self.names.of(Path(name).stem) for name in cards)
        if name == "ethogram":
            folders = (root_of(self.folder) / "ethograms", ethogram.shipped())
            said = [Path(name).stem for folder in folders for name in files.listed(folder, ".toml")[0]]
        return [word for word in dict.fromkeys(said) if word and word.isprintable()]

    def species_of(self, name: str) -> str:
        """Return an animal's species, as its card says, or the last session with it."""
        who = self.names.of(name)
        met = (header["species"] for _, header in self.headers if who in (header["male"], header["female"]))
        return self._on_card(name, "species") or next(filter(None, met), "")

    def family_of(self, name: str) -> str:
        """Return an animal's family, where its card says it."""
        return self._on_card(name, "family")

    def _on_card(self, name: str, kind: str) -> str:
        card = self.names.card(name)
        return card.fact(kind) if card else ""

    def of(self, male: str, female: str) -> Iterator[str]:
        """Yield the last sessions of each of the two animals, a line each."""
        male, female = self.names.of(male), self.names.of(female)
        met = [
            (path, header)
            for path, header in self.headers
            if (male and header["male"] == male) or (female and header["female"] == female)
        ]
        both = [one for one in met if one[1]["male"] == male and one[1]["female"] == female]
        others = [one for one in met if one not in both]
        for path, header in sorted((both + others)[:SHOWN], key=lambda one: one[1]["began"], reverse=True):
            if came_of_it := self._came_of(path):
                yield f"{header['began']:%Y-%m-%d}  {header['male']} with {header['female']}: {came_of_it}"

    def _came_of(self, path: Path) -> str:
        """Return how a session went, '' where it counts for nothing; read once, since a form asks at each key."""
        if path not in self._read:
            self._read[path] = _came_of(path)
        return self._read[path]


def _came_of(path: Path) -> str:
    try:
        known = session.read(path)
    except Refusal:
        return ""
    if known.is_accident:
        return ""
    ended = f", {known.fold.outcome['ended']}" if known.fold.outcome.get("ended") else ""
    return f"{evidence(known.ethogram, known.fold.bouts).words}{ended}"
