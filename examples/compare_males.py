"""Which male courts soonest? `python examples/compare_males.py [WORKSPACE]`, here on the invented season.

Prints the table and a sentence, and draws the curves into `courtship.svg`.
"""

import sys
from pathlib import Path

import etholog

workspace = sys.argv[1] if len(sys.argv) > 1 else Path(__file__).parent / "season"
times = etholog.latency(etholog.read(workspace), "courtship")
found = etholog.compare(times, by="male", within="female")
print(found.table[["n", "occurred", "median_s", "females"]].round(1).to_string())
print(found.sentence)
etholog.figures.survival(times, by="male").savefig("courtship.svg")
