"""Mutate files and arguments, and see that each is read right or refused in words: `python -m tests.fuzz [HOW_MANY]`.

For the night: 100,000 by default, spread over all kinds of files. A failure prints its seed.
"""

import sys

from tests.fuzz.targets import TARGETS, attack


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    for name in TARGETS:
        accepted = sum(attack(name, seed) for seed in range(count // len(TARGETS)))
        print(f"{name}: {count // len(TARGETS):,} tried, {accepted:,} accepted, no failure", flush=True)


if __name__ == "__main__":
    main()
