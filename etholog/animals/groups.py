"""Which group of spiders an animal belongs to: its family, the ethogram that fits, and whether it has urticating hairs.

The table beside this names genera; each row says its source or that it is from memory, and when it was written. A genus
that is not in it is unknown, and nothing is borrowed for it from another group.
"""

import csv
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import NamedTuple

from etholog.animals.species import genus_of, synonyms

TARANTULAS = "Theraphosidae"
_FAMILIES = {
    "terrestrial": TARANTULAS,
    "arboreal": TARANTULAS,
    "wolf-spider": "Lycosidae",
    "jumping-spider": "Salticidae",
}
_ETHOGRAMS = {"Lycosidae": "wolf-spider", "Salticidae": "jumping-spider"}


class Group(NamedTuple):
    """What is known of a group. `family` and `ethogram` are '' where unknown; `hairs` is None where nobody told."""

    family: str = ""
    ethogram: str = ""
    hairs: bool | None = None

    @property
    def females_moult(self) -> bool | None:
        """Whether mature females moult on: those of tarantulas do, those of wolf and jumping spiders as a rule don't
        (textbook knowledge, no single source); None where the family is unknown."""
        if not self.family:
            return None
        return self.family == TARANTULAS

    @property
    def may_be_tarantula(self) -> bool:
        """Whether it is a tarantula, or nobody knows that it is none."""
        return self.family in ("", TARANTULAS)


def group_of(species: str, ethogram: str = "", family: str = "") -> Group:
    """Return the group of a species.

    Parameters
    ----------
    species: a name, in any form; '' where unknown.
    ethogram: the name of the ethogram with which it was watched; it says more than the genus.
    family: as the card says it, for a genus that the table does not have.

    >>> group_of("Hogna carolinensis").females_moult, group_of("Nosuchgenus x").females_moult
    (False, None)
    """
    row = _table().get(genus_of(species)) or _table().get(synonyms().resolve(species)[0].capitalize())
    kept = ethogram if ethogram in _FAMILIES else row.ethogram if row else _ETHOGRAMS.get(family.capitalize(), "")
    of = row.family if row else _FAMILIES.get(kept, family.capitalize())
    return Group(_FAMILIES.get(ethogram, of), kept, row.hairs if row else None)


class Fitting(NamedTuple):
    """The ethogram that fits some animals: its name ('' where none is known to), and why, in words."""

    ethogram: str
    why: str


def fitting(species: Iterable[str], families: Iterable[str] = ()) -> Fitting:
    """Return the ethogram for animals of these species; for genera that the table does not have, of these families.

    Where nothing at all is told of them it is the one for terrestrial tarantulas, and says so. Where what is told fits
    no ethogram, or two, its name is ''.

    >>> fitting(["Poecilotheria regalis"]).ethogram, fitting(["Nosuchgenus x"]).ethogram, fitting([]).ethogram
    ('arboreal', '', 'terrestrial')
    """
    named, told = [name for name in species if name], [family for family in families if family]
    if not named and not told:
        return Fitting("terrestrial", "no species is known of these two")
    fit = {group.ethogram: name for name in named if (group := group_of(name)).ethogram}
    fit = fit or {group.ethogram: name for name in told if (group := group_of("", "", name)).ethogram}
    if len(fit) == 1:
        ((ethogram, name),) = fit.items()
        return Fitting(ethogram, f"it fits {name}")
    words = " and ".join(dict.fromkeys([*named, *told]))
    return Fitting("", f"more than one ethogram fits {words}" if fit else f"no ethogram is known to fit {words}")


@cache
def _table() -> dict[str, Group]:
    with Path(__file__).with_name("genera.csv").open(encoding="utf-8", newline="") as file:
        return {
            row["genus"]: Group(row["family"], row["ethogram"], row["hairs"] == "yes") for row in csv.DictReader(file)
        }
