"""Makes the invented sessions in `examples/unseen`, in which some onsets were seen by nobody: `python
examples/make_unseen.py [FOLDER]`.

Nobody ever watched these animals. In some sessions he was out of sight, or the keeper was away, when the drumming
began: it was running when he was seen again, and was keyed a second or two later.
"""

import random
import shutil
import sys
from datetime import datetime, timedelta
from pathlib import Path

from etholog import ethogram

sys.path.insert(0, str(Path(__file__).parent))
from make_season import ZONE, Evening, begin

SEED = 20260901
SESSIONS = 12
UNSEEN = {2: "hidden", 5: "away", 6: "hidden", 9: "away"}  # which sessions, and why


def make(folder: Path) -> None:
    """Write the sessions anew."""
    shutil.rmtree(folder, ignore_errors=True)
    (folder / "sessions").mkdir(parents=True)
    chance = random.Random(SEED)
    kept = ethogram.read(Path(__file__).parent / "terrestrial-1.toml")
    for number in range(SESSIONS):
        began = datetime(2026, 9, 2, 21, 0, tzinfo=ZONE) + timedelta(days=number, minutes=chance.randint(0, 60))
        male, female = f"M-Cinder-{number % 4 + 1}", f"F-Garnet-{number % 3 + 1}"
        said = {
            "male": male,
            "female": female,
            "species": "Brachypelma smithi",
            "observer": "observer 1",
            "conditions": {},
        }
        name = f"{began:%Y%m%d-%H%M}-{male}-{female}"
        evening = Evening(begin(folder / "sessions", name, kept, began, **said), chance)
        evening.wait(12)
        evening.key("introduced")
        evening.wait(20)
        evening.key("on_silk")
        lost = UNSEEN.get(number)
        evening.wait(60)
        if lost == "hidden":
            evening.bout("male_hidden", 90)
        elif lost == "away":
            evening.recorder.gap(evening.at, "the door bell")
            evening.wait(90)
            evening.recorder.back(evening.at)
        if lost:
            evening.at += round(chance.uniform(0.8, 2.5), 3)
        if number != 7:  # he never drummed
            evening.bout("drumming", 12)
        evening.wait(200)
        evening.recorder.close(evening.at, {"ended": "keeper ended it", "male_whole": True})
        evening.recorder.journal.close()


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "unseen")
