"""Who comes from whom, as a table that other programs read, and in which generation each stands."""

from collections.abc import Collection, Mapping

import pandas as pd

from etholog.animals import Animals
from etholog.animals.pedigree import UNKNOWN, Parents, ancestors, founders_first

COLUMNS = ["animal", "sex", "species", "form", "born", "died", "parent", "as", "chance", "sure"]


def family(animals: Animals, name: str) -> list[str]:
    """Return an animal, all its known possible ancestors, its young, and the other parents of these."""
    who = animals.require(name)
    found = ancestors(who, animals.parents)
    for one, up in animals.parents.items():
        if who in up.named:
            found |= {one, *up.named}
    return sorted(found)


def everybody(animals: Animals) -> list[str]:
    """Return all animals that have a known parent, or are one."""
    found = set[str]()
    for one, up in animals.parents.items():
        if up.named:
            found |= {one, *up.named}
    return sorted(found)


def generations_of(names: Collection[str], parents: Mapping[str, Parents]) -> dict[str, int]:
    """Return the generation of each animal: below both parents; a founder stands just above its first young.

    Raises Refusal for an animal that would be its own ancestor.

    >>> generations_of("adsx", {"a": Parents.of("d", "x"), "d": Parents.of("", "s")})
    {'s': 0, 'd': 1, 'x': 1, 'a': 2}
    """
    wanted = set(names)
    of = {name: parents.get(name, UNKNOWN).named & wanted for name in wanted}
    order = [name for name in founders_first(wanted, parents) if name in wanted]
    depth: dict[str, int] = {}
    for name in order:
        depth[name] = max((depth[up] + 1 for up in of[name]), default=0)
    for name in order:
        young = [depth[one] for one in wanted if name in of[one]]
        if not of[name] and young:
            depth[name] = min(young) - 1
    return dict(sorted(depth.items(), key=lambda item: (item[1], item[0])))


def lineage(animals: Animals, names: Collection[str]) -> pd.DataFrame:
    """Return who comes from whom, a row for each possible parent.

    Parameters
    ----------
    animals, names: the herd, and who of it.

    Returns
    -------
    animal, sex, species, form, born and died (as written), parent ('' where none is known), as (dam or sire), chance
    (of being the parent: 1 where nobody else may be), sure (as the keeper marked it).
    """
    rows: list[tuple[object, ...]] = []
    for name in sorted(names):
        card = animals.find(name)
        born = card.last("born") if card else None
        died = animals.died(name)
        facts = (
            name, animals.sex_of(name), animals.species_of(name), card.fact("form") if card else "",
            born.on.text if born else "", died.text if died else "",
        )  # fmt: skip
        up = animals.parents.get(name, UNKNOWN)
        told = [(who, side, chance) for side, all_ in (("dam", up.dam), ("sire", up.sire)) for who, chance in all_]
        rows += [(*facts, who, side, chance, side not in up.unsure) for who, side, chance in told]
        if not told:
            rows.append((*facts, "", "", None, True))
    return pd.DataFrame(rows, columns=COLUMNS).astype({"chance": float})


def ped(animals: Animals, names: Collection[str]) -> str:
    """Return the same as the six columns of a PED file: family, individual, father, mother, sex (1 male, 2 female,
    0 unknown), status (0). A parent who may be one of several is 0 there: the form has no place for a chance.

    Names may hold no blanks there, so these become underscores.
    """
    lines = []
    for name in sorted(names):
        up = animals.parents.get(name, UNKNOWN)
        alone = [chances[0][0] if len(chances) == 1 and chances[0][0] in names else "" for chances in (up.sire, up.dam)]
        sex = {"male": "1", "female": "2"}.get(animals.sex_of(name), "0")
        words = ["1", name, *(one or "0" for one in alone), sex, "0"]
        lines.append("\t".join("_".join(word.split()) for word in words))
    return "\n".join([*lines, ""])
