"""Cautions that follow the animal, whichever ethogram is used: hairs, bites, whom to call."""

from collections.abc import Iterable, Iterator
from pathlib import Path

from etholog.animals.groups import Group, group_of
from etholog.base import files
from etholog.base.language import beside, gettext_noop
from etholog.base.refusal import Refusal

# Hauke & Herzig 2021, Toxicon 192:74-77; Fuchs et al. 2014, Toxicon 77:73-77.
BITES = gettext_noop(
    "Bites: cramps can follow hours later and last for days. They are characteristic of Poecilotheria (Fuchs et al."
    " 2014), and came after 12.7 % of 363 reported tarantula bites, most often in Old World groups (Hauke & Herzig"
    " 2021)."
    " Part yourself from the spider first, then call your poison centre or doctor at once and say the species."
    " Trouble breathing, chest pain or spreading cramps: emergency services."
)
# Norris et al. 2010, Lancet: three weeks as conjunctivitis; rubbing drives hairs deeper: a clinical article of 2018.
HAIRS = gettext_noop(
    "Tarantula hairs: eyes and skin covered, face away from the open lid. Never rub: it drives them deeper. For an eye,"
    " or trouble breathing, get medical help at once and say 'tarantula hairs'. Trouble can come weeks later"
    " (Norris et al. 2010): say it then, too."
)
OTHERS = gettext_noop(
    "Bites and escape: lid at hand, never fingers. After a bite call your poison centre or doctor, say the species."
)

_LABELS = {
    BITES: gettext_noop("Bites: cramps for days; call your poison centre, say the species."),
    HAIRS: gettext_noop("Hairs: cover eyes; tell a doctor 'tarantula hairs', also weeks later."),
    OTHERS: gettext_noop("Bites, escape: never fingers."),
}
NUMBER = "poison-centre.txt"


def _of(group: Group) -> str:
    if not group.may_be_tarantula and group.hairs is not True:
        return OTHERS
    return HAIRS if group.hairs else BITES


def cautions(animals: Iterable[tuple[str, str]], ethogram: str = "") -> Iterator[str]:
    """Yield what to beware of with animals of which (species, family) is told, '' where it is not: hairs for a
    tarantula of the New World that has them; cramps after bites for every other one, and for any genus that the table
    does not know, unless its family is told. `ethogram`: with which they are watched; it says what they are only where
    nothing else does, since a wrong one may be in use."""
    yield from map(beside, _cautions(animals, ethogram))


def _cautions(animals: Iterable[tuple[str, str]], ethogram: str) -> Iterator[str]:
    told = [(species, family) for species, family in animals if species or family] or [("", "")]
    groups = (group_of(species, "" if species or family else ethogram, family) for species, family in told)
    yield from dict.fromkeys(_of(group) for group in groups)


def without_hairs(animals: Iterable[tuple[str, str]]) -> bool:
    """Tell whether all animals of which (species, family) is told are known to have no urticating hairs."""
    return all(group_of(species, "", family).hairs is False for species, family in animals)


def on_label(species: str, ethogram: str = "", family: str = "") -> str:
    """Return the same on one line."""
    return " ".join(beside(_LABELS[caution]) for caution in _cautions([(species, family)], ethogram))


def poison_centre(workspace: Path) -> str:
    """Return the line that the keeper wrote into `poison-centre.txt` of the workspace, or ''. None is shipped."""
    try:
        lines = files.read(workspace / NUMBER).decode("utf-8-sig").splitlines()
    except (Refusal, UnicodeDecodeError):
        return ""
    return next((line.strip()[:160] for line in lines if line.strip()), "")
