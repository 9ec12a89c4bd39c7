"""Makes the invented breeding group of three keepers: `python examples/make_group.py [DIR]`.

40 animals over four generations, all invented: founders of unknown parents, four lines, two animals of which nobody
knows the sire, males on loan, and one male who has another name at one keeper's. The same seed makes the same group.
"""

import random
import shutil
import sys
from datetime import date, timedelta
from pathlib import Path

from etholog import animals
from etholog.animals import entering
from etholog.animals.card import Entry
from etholog.animals.entering import NewEntry
from etholog.base.dates import Day

SEED = 19
KEEPERS = ("anna", "bert", "carla")
SPECIES, FORM = "Tliltocatl vagans", "invented line"
TOLD = "2026-02-20T20:00:00+01:00"
DAMS = ["Agate", "Beryl", "Coral", "Dune"]
SIRES = ["Ash", "Birch", "Cedar", "Elm"]
LATER = (
    (2014, ["Fern", "Gale", "Hazel", "Iris", "Jade", "Kelp"], ["Larch", "Maple", "Nettle", "Oak"]),
    (
        2018,
        ["Pearl", "Quartz", "Reed", "Sage", "Topaz", "Umber", "Violet"],
        ["Walnut", "Yarrow", "Zinc", "Alder", "Basalt"],
    ),
    (2022, ["Clover", "Drift", "Ember", "Flora", "Garnet"], ["Heath", "Ivory", "Jasper", "Kestrel", "Loam"]),
)
# What carla calls one of bert's males, whom she has had on loan and has a card of her own for.
OTHER_NAME = ("M-Jasper", "Stripes")

Life = list[tuple[str, str, str]]  # kind, date, words


def lives(chance: random.Random) -> dict[str, Life]:
    """Return what is on each animal's card: (kind, date, words)."""
    found: dict[str, Life] = {}
    females, males = [f"F-{name}" for name in DAMS], [f"M-{name}" for name in SIRES]
    for name in (*females, *males):
        found[name] = [("born", "2009", ""), ("got", "2012", "as an adult")]
    pairs = list(zip(females, males, strict=True))
    for year, her, his in LATER:
        young: list[tuple[str, int]] = []
        for sex, names in (("F", her), ("M", his)):
            for at, name in enumerate(names):
                line = (at + (sex == "M")) % len(pairs)
                dam, sire = pairs[line]
                one = f"{sex}-{name}"
                found[one] = [("born", f"{year}-0{chance.randint(3, 9)}", ""), ("dam", f"{year}", dam)]
                found[one].append(("sire", f"{year}", sire))
                young.append((one, line))
        # Nobody pairs within a line; of two females of each generation that is not the last, no young were kept.
        dams = [one for one in young if one[0].startswith("F-")]
        sires = [one for one in young if one[0].startswith("M-")]
        pairs = []
        for at, (sire, line) in enumerate(sires[:4]):
            fit = [dam for dam, own in dams if own != line and dam not in {used for used, _ in pairs}]
            pairs.append((fit[at % len(fit)], sire))
    # Two of which nobody knows the sire: their dams had been with two males.
    for one, other in (("F-Topaz", "M-Oak:1"), ("F-Garnet", "M-Basalt:1")):
        life = found[one]
        at = next(at for at, (kind, _, _) in enumerate(life) if kind == "sire")
        life[at] = ("sire", life[at][1], f"{life[at][2]}:3 or {other}")
    for name, life in found.items():
        life[:0] = [("sex", life[0][1][:4], "female" if name[0] == "F" else "male"), ("species", "2009", SPECIES)]
        life[2:2] = [("form", "2009", FORM), ("note", "2026-02-20", "invented")]
        _grown(name, life, chance)
    return found


def _grown(name: str, life: Life, chance: random.Random) -> None:
    born = int(life[4][1][:4])
    if name[0] == "M":
        if born < 2022:
            life += [("moult", f"{born + 3}-10", "last"), ("died", f"{born + 5}-0{chance.randint(1, 6)}", "of age")]
        else:
            day = date(2025, 11, 1) + timedelta(days=chance.randint(0, 60))
            life += [("moult", day.isoformat(), "last")]
            life += [("sperm_web", (day + timedelta(days=40)).isoformat(), "")]
        return
    if born < 2014:
        life.append(("died", f"202{chance.randint(1, 4)}-05", "of age"))
        return
    for year in (2024, 2025):
        life.append(("moult", f"{year}-0{chance.randint(6, 9)}-{chance.randint(10, 28)}", ""))
    for weeks in (5, 2):
        day = date(2026, 2, 20) - timedelta(weeks=weeks, days=chance.randint(0, 6))
        life += [("meal", day.isoformat(), "middling"), ("water", day.isoformat(), "")]


def make(folder: Path) -> None:
    """Write the three workspaces anew."""
    chance = random.Random(SEED)
    found = lives(chance)
    homes = {name: KEEPERS[at % 3] for at, name in enumerate(sorted(found, key=lambda one: chance.random()))}
    homes[OTHER_NAME[0]] = "bert"
    for keeper in KEEPERS:
        shutil.rmtree(folder / keeper, ignore_errors=True)
        (folder / keeper / "sessions").mkdir(parents=True)
        (folder / keeper / "sessions" / ".gitkeep").touch()
        own = {name: life for name, life in found.items() if homes[name] == keeper}
        write(folder / keeper, own)
    write(folder / "bert", {OTHER_NAME[0]: [("lent", "2026-02-01", "Carla until 2026-05-01"), *SHARED]})
    jasper = [(OTHER_NAME[0], kind) for kind in ("sex", "species", "form", "moult", "sperm_web")]
    hers = [next(one for one in found[name] if one[0] == kind) for name, kind in jasper]
    hers += [("borrowed", "2026-02-01", "Bert until 2026-05-01"), *SHARED, ("meal", "2026-02-10", "small")]
    write(folder / "carla", {OTHER_NAME[1]: [*hers, ("note", "2026-02-20", "invented")]})
    # A male who goes to another keeper takes a copy of his card with him, and both write on.
    his = next(name for name in ("M-Heath", "M-Ivory", "M-Loam") if homes[name] != "anna")
    (folder / "anna" / "animals" / f"{his}.jsonl").write_bytes(
        (folder / homes[his] / "animals" / f"{his}.jsonl").read_bytes()
    )
    write(folder / homes[his], {his: [("lent", "2026-02-08", "Anna until 2026-08-01")]})
    write(folder / "anna", {his: [("borrowed", "2026-02-08", f"{homes[his].title()} until 2026-08-01")]})


SHARED: Life = [("shares", "2026-02-01", "Bert 1, Carla 2")]


def write(workspace: Path, told: dict[str, Life]) -> None:
    """Put entries on cards, through the door by which all come in."""
    entries = [
        NewEntry(name, Entry(0, kind, Day.parse(on), words=words))
        for name, life in told.items()
        for kind, on, words in life
    ]
    entering.write(entering.propose(animals.read(workspace), entries, date.fromisoformat(TOLD[:10])), TOLD)


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "group")
