"""Makes the invented season in `examples/season` and the few sessions in `sessions`: `python
examples/make_season.py [FOLDER]`.

Nobody ever watched these animals: names, times and outcomes come from a seeded generator. Each session goes key by
key through the recorder
that a live one goes through.
"""

import random
import shutil
import sys
from datetime import datetime, timedelta, timezone
from pathlib import Path

from etholog import ethogram, session
from etholog.base.journal import Journal
from etholog.recording.recorder import Recorder

SEED = 20260301
ZONE = timezone(timedelta(hours=1))
SPECIES = ("Brachypelma smithi", "Tliltocatl albopilosus")
# Each male: species, mean seconds from her silk to his first display, chance that he does not court at all.
MALES = {
    "M-Basalt": (0, 35, 0.05),
    "M-Flint": (0, 60, 0.1),
    "M-Onyx": (0, 150, 0.15),
    "M-Slate": (0, 420, 0.35),
    "M-Amber": (1, 50, 0.1),
    "M-Ochre": (1, 240, 0.25),
}
FEMALES = {
    "F-Umbra": 0,
    "F-Sepia": 0,
    "F-Sienna": 0,
    "F-Rust": 0,
    "F-Clay": 0,
    "F-Moss": 1,
    "F-Fern": 1,
    "F-Ivy": 1,
}
IN_SESSIONS = 3


class Evening:
    """One invented session: a clock, and fingers on the keys."""

    def __init__(self, recorder: Recorder, chance: random.Random) -> None:
        self.recorder, self.chance, self.at = recorder, chance, 0.0
        self.keys = {(press.behaviour.code, press.choice): key for key, press in recorder.layout.items()}

    def wait(self, mean: float) -> None:
        self.at += round(0.4 + self.chance.expovariate(1 / mean), 3)

    def key(self, code: str, choice: str | None = None) -> None:
        self.recorder.press(self.keys[code, choice], self.at)

    def bout(self, code: str, mean: float, choice: str | None = None) -> None:
        self.key(code, choice)
        self.wait(mean)
        self.key(code, choice)


def evening(e: Evening, courts_after: float | None) -> dict[str, object]:
    """Play one session and return its outcome form."""
    chance = e.chance
    e.wait(12)
    e.key("introduced")
    e.wait(8)
    e.key("walking")
    e.wait(15)
    e.key("on_silk")
    if chance.random() < 0.2:
        e.wait(6)
        e.bout("male_hidden", 25)
    if courts_after is None:
        e.at += 600 + 1200 * chance.random()
        if chance.random() < 0.4:
            e.key("retreats")
            e.wait(20)
        return {"ended": "keeper ended it", "male_whole": True}
    e.at += courts_after
    for _ in range(chance.randint(2, 6)):
        e.bout(chance.choice(["drumming", "drumming", "vibration", "leg_tapping"]), 9)
        if chance.random() < 0.5:
            e.wait(4)
            e.key("answers")
        e.wait(7)
    mistakes(e)
    return meeting(e)


def mistakes(e: Evening) -> None:
    """The slips of a real evening: a stray key, a mark taken back, one moved, one recoded, one doubted, a gap."""
    slip = e.chance.random()
    if slip < 0.15:
        e.recorder.press("]", e.at)
    elif slip < 0.3:
        e.key("threat")
        e.wait(2)
        e.recorder.undo()
    elif slip < 0.45:
        e.key("raises")
        e.wait(3)
        e.recorder.shift(-1)
        e.key("raises")
    elif slip < 0.55:
        e.recorder.gap(e.at, "the door bell")
        e.wait(40)
        e.recorder.back(e.at)
    elif slip < 0.65:
        e.key("threat")
        e.recorder.recode_or_ask()
        e.wait(3)
        e.key("raises")
    elif slip < 0.75:
        e.key("answers")
        e.recorder.doubt()
        e.wait(3)


def meeting(e: Evening) -> dict[str, object]:
    chance = e.chance
    mood = chance.random()
    if mood < 0.12:
        e.bout("threat", 6)
        e.wait(3)
        e.key("strike")
        e.wait(1)
        e.key("flees")
        e.wait(20)
        return {"ended": "she attacked", "male_whole": chance.random() < 0.8}
    if mood < 0.22:
        e.bout("retreats", 10)
        e.bout("female_hidden", 300)
        return {"ended": "she withdrew", "male_whole": True}
    e.bout("approaches", 8)
    e.wait(4)
    e.key("touch")
    e.wait(5)
    e.key("raises")
    e.wait(3)
    e.key("clasp")
    e.wait(6)
    side = chance.choice(["left", "right"])
    for _ in range(chance.randint(1, 4)):
        e.bout("palp_probing", 12)
        e.bout("insertion", 35, side)
        side = "right" if side == "left" else "left"
        e.wait(2)
    e.key("clasp")
    e.wait(1)
    if chance.random() < 0.7:
        e.key("flees")
    e.wait(3)
    e.key("still")
    e.wait(400)
    return {"ended": "he got out", "male_whole": True}


def pairs(chance: random.Random) -> list[tuple[str, str]]:
    """Every male meets his species' females, some of them twice."""
    meetings = []
    for male, (species, _, _) in MALES.items():
        own = [female for female, of in FEMALES.items() if of == species]
        meetings += [(male, female) for female in chance.sample(own, min(len(own), 5 if species == 0 else 3))]
    meetings += [("M-Amber", "F-Moss"), ("M-Ochre", "F-Fern")]
    chance.shuffle(meetings)
    return meetings


def begin(folder: Path, name: str, kept: ethogram.Ethogram, began: datetime, **said: object) -> Recorder:
    header = {
        "id": name,
        "began": began.isoformat(timespec="milliseconds"),
        "place": "shelf room (invented)",
        "clock": "invented",
        "clock_at": 0.0,
        "boot": "",
        "source": "invented",
        **said,
    }
    journal = Journal.create(folder / f"{name}.jsonl", session.header_of(kept, **header))
    # The wall clock of an invented evening stands still: what counts is the time since the start.
    return Recorder(journal, kept, "left", began, 0.0, wall=lambda: began)


def make(folder: Path) -> None:
    """Write the season anew."""
    shutil.rmtree(folder, ignore_errors=True)
    sessions = folder / "sessions"
    sessions.mkdir(parents=True)
    chance = random.Random(SEED)
    kept = ethogram.read(Path(__file__).parent / "terrestrial-1.toml")  # as it was when the season was made
    day = datetime(2026, 3, 2, 20, 30, tzinfo=ZONE)
    for number, (male, female) in enumerate(pairs(chance), 1):
        species, mean, refuses = MALES[male]
        began = day + timedelta(days=number, minutes=chance.randint(0, 120))
        name = f"{began:%Y%m%d-%H%M}-{male}-{female}"
        said = {
            "male": male,
            "female": female,
            "species": SPECIES[species],
            "observer": chance.choice(["observer 1", "observer 2"]),
            "conditions": {
                "temperature_c": round(chance.uniform(22, 27), 1),
                "light": chance.choice(["dim red", "dim white"]),
                "female_days_since_moult": chance.randint(60, 300),
            },
        }
        seed = chance.random()
        courts = None if chance.random() < refuses else round(chance.expovariate(1 / mean), 3)
        record(begin(sessions, name, kept, began, **said), seed, courts, 0.0)
        if number == 4:
            second = {**said, "observer": "observer 3", "record_of": name}
            record(begin(sessions, f"{name}-second", kept, began, **second), seed, courts, 0.35)


def record(recorder: Recorder, seed: float, courts: float | None, late: float) -> None:
    """Play one session into a recorder; a second observer's fingers are `late` seconds later."""
    e = Evening(recorder, random.Random(seed))
    e.at += late
    outcome = evening(e, courts)
    e.wait(5)
    recorder.close(e.at, outcome)
    recorder.journal.close()


if __name__ == "__main__":
    here = Path(__file__).parent
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else here / "season")
    if len(sys.argv) == 1:
        few = here.parent / "sessions"
        few.mkdir(exist_ok=True)
        for file in sorted((here / "season" / "sessions").glob("*.jsonl"))[:IN_SESSIONS]:
            shutil.copy(file, few)
