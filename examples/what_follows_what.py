"""What follows what more often than chance? `python examples/what_follows_what.py [WORKSPACE]`.

Prints the steps of the males whose adjusted residual is over 2 (Haberman 1973) and whose p, adjusted for all of them
by Holm, is under 0.05.
"""

import sys
from pathlib import Path

import etholog

workspace = sys.argv[1] if len(sys.argv) > 1 else Path(__file__).parent / "season"
found = etholog.transition(etholog.read(workspace), actor="male")
steps = found.long()
often = steps[(steps["residual"] > 2) & (steps["p_holm"] < 0.05)]
print(often[["first", "next", "count", "expected", "residual"]].round(1).to_string(index=False))
print(found.sentence)
