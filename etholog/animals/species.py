"""Names of species: one species under several names is one."""

import csv
import io
import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import NamedTuple

from etholog.base import files
from etholog.base.refusal import Finding, Refusal

# As of November 2026; the papers are named in the table. A keeper's own table in the workspace, `synonyms.csv` with
# the same columns, is read first.
SHIPPED = Path(__file__).with_name("synonyms.csv")
COLUMNS = ("name", "accepted", "source")
_EPITHET = re.compile(r"[a-z]+(?:-[a-z]+)?")
_ENDING = re.compile(r"(us|um|a)$")  # of an adjective, which follows the gender of the genus
Names = Mapping[tuple[str, str], tuple[str, str]]


def parts(name: str) -> tuple[str, str]:
    """Return genus and epithet in lower case, without author, year and the like; '' for what is not there.

    >>> parts("Brachypelma smithi (F. O. Pickard-Cambridge, 1897)"), parts("B. Smithi"), parts("Acanthoscurria sp.")
    (('brachypelma', 'smithi'), ('b', 'smithi'), ('acanthoscurria', ''))
    """
    genus, _, rest = " ".join(name.lower().replace("_", " ").split()).partition(" ")
    epithet = _EPITHET.match(rest.removeprefix("cf. ").removeprefix("aff. "))
    unnamed = epithet is None or epithet[0] in ("sp", "spp", "species")
    return genus.rstrip("."), "" if unnamed or epithet is None else epithet[0]


def genus_of(name: str) -> str:
    """Return the genus as it is written, with a capital.

    >>> genus_of("brachypelma smithi"), genus_of("")
    ('Brachypelma', '')
    """
    return parts(name)[0].capitalize()


class Synonyms(NamedTuple):
    """A table of names, and the one that is accepted for each."""

    accepted: Names

    def resolve(self, name: str) -> tuple[str, str]:
        """Return genus and epithet of the accepted name."""
        genus, epithet = parts(name)
        key = genus, _ENDING.sub("", epithet)
        if len(genus) == 1:
            like = [known for known in self.accepted if known[0].startswith(genus) and known[1] == key[1]]
            key = like[0] if len(like) == 1 else key
        seen = {key}
        while key in self.accepted:
            genus, epithet = self.accepted[key]
            key = genus, _ENDING.sub("", epithet)
            if key in seen:
                break  # a keeper's table that goes round in a circle
            seen.add(key)
        return key

    def same(self, one: str, other: str) -> bool:
        """Tell whether two names are of one species: by author's name or without, old or new combination, an initial
        for the genus, in any case. Two unnamed species (`sp.`) are never known to be one, unless written alike."""
        if " ".join(one.lower().split()) == " ".join(other.lower().split()):
            return True
        (a, first), (b, second) = self.resolve(one), self.resolve(other)
        if not first or first != second:
            return False
        initial = len(a) == 1 or len(b) == 1
        return a == b or (initial and a[0] == b[0])


def synonyms(workspace: Path | None = None) -> Synonyms:
    """Return the shipped table, with a workspace's own `synonyms.csv` before it. Raises Refusal for a wrong table."""
    own = workspace / "synonyms.csv" if workspace else None
    if own is None or not own.is_file():
        return Synonyms(_read(SHIPPED))
    return Synonyms({**_read(SHIPPED), **_read.__wrapped__(own)})


@cache
def _read(path: Path) -> dict[tuple[str, str], tuple[str, str]]:
    try:
        rows = list(csv.DictReader(io.StringIO(files.read(path).decode("utf-8-sig"), newline="")))
    except (UnicodeDecodeError, csv.Error):
        raise Refusal(Finding("can't be read", "save it as CSV in UTF-8", path)) from None
    found = {}
    for line, row in enumerate(rows, 2):
        if not row.get("name") or not row.get("accepted"):
            raise Refusal(Finding("has no name or no accepted name", f"columns: {', '.join(COLUMNS)}", path, line))
        genus, epithet = parts(row["name"])
        found[genus, _ENDING.sub("", epithet)] = parts(row["accepted"])
    return found
