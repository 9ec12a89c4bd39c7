"""What it takes a new keeper: the install, the keys and seconds to the first mark, a feeding round of ten.

`python -m tests.bench.beginner` builds a wheel and installs it into a new environment. The keys are a person's, the
seconds those of a program that types as soon as it sees what it waits for: what etholog itself takes of an evening.
"""

import subprocess
import sys
import tempfile
import time
import venv
from collections.abc import Callable
from pathlib import Path

from tests.screens.keeper import Keeper
from tests.screens.terminal import Terminal

REPOSITORY = Path(__file__).parents[2]
STARTS = "etholog\r"  # what is typed in the shell


def installed(folder: Path) -> Path:
    """Install etholog from a wheel into a new environment; return its Python. Says how long it took."""
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(folder), str(REPOSITORY)], check=True
    )
    (wheel,) = folder.glob("*.whl")
    began = time.monotonic()
    venv.create(folder / "env", with_pip=True)
    python = folder / "env" / "bin" / "python"
    subprocess.run([python, "-m", "pip", "install", "-q", str(wheel)], check=True)
    print(
        f"a new environment and `pip install`: {time.monotonic() - began:.0f} s, most of it the packages it stands on"
    )
    return python


def shortest(keeper: Keeper) -> None:
    """To the first mark, with no more than has to be said."""
    keeper.make_workspace()
    keeper.begin_watching("M-Flint", "F-Umbra")
    keeper.type("d", "palpal drumming began")


def with_cards(keeper: Keeper) -> None:
    """To the first mark, with a card for each of the two."""
    keeper.make_workspace()
    keeper.begin_card("M-Flint", "1")
    keeper.begin_card("F-Umbra", "2")
    keeper.begin_watching("M-Flint", "F-Umbra")
    keeper.type("d", "palpal drumming began")


def feeding(keeper: Keeper) -> None:
    """A round of ten, from the desk and back to it."""
    keeper.type("f", "Feeding round")
    keeper.type("s" * 10, "F-9: small")
    keeper.type("\x1b", "10 meals written")


def ten_cards(keeper: Keeper) -> None:
    """Make ready for the round."""
    keeper.make_workspace()
    for number in range(10):
        keeper.begin_card(f"F-{number}", "2")


def timed(python: Path, what: str, walk: Callable[[Keeper], None], before: Callable[[Keeper], None] | None) -> None:
    """Walk it in an empty folder, and print what it took; what was walked `before` does not count."""
    with tempfile.TemporaryDirectory() as folder:
        began = time.monotonic()
        with Terminal(cwd=Path(folder), python=str(python)) as terminal:
            keeper = Keeper(terminal)
            keys = len(STARTS)
            if before is not None:
                before(keeper)
                keys, began = -keeper.keys, time.monotonic()
            walk(keeper)
            print(f"{what}: {keys + keeper.keys} keys, {time.monotonic() - began:.1f} s")


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        python = installed(Path(folder))
        for once in ("first", "second"):  # the first start compiles what was installed, if pip did not
            timed(python, f"an empty folder to the first mark, {once} time", shortest, None)
        timed(python, "an empty folder to the first mark, with a card for each", with_cards, None)
        timed(python, "a feeding round of ten, from the desk and back", feeding, ten_cards)


if __name__ == "__main__":
    main()
