"""The lanes of a session's strip: which there are, in which order, and what stands at their ends."""

import math
from collections.abc import Mapping, Sequence

import pandas as pd

from etholog.base.clock import seconds_face

ORDER = ("keeper", "female", "pair", "male")


def lanes_of(bouts: pd.DataFrame, named: Mapping[str, str]) -> dict[str, list[int]]:
    """Return the places of the bouts of each lane, by actor and in the order of `named`; a state has a lane for each
    qualifier."""
    # A column at a time: this is done for each session of a page, where pandas' own steps would take most of its time.
    seen = zip(*(bouts[name].tolist() for name in ("behaviour", "kind", "qualifier", "actor")), strict=True)
    rows: dict[str, list[int]] = {}
    actor_of: dict[str, str] = {}
    for at, (code, kind, choice, actor) in enumerate(seen):
        key = f"{code}:{choice}" if kind == "state" and not pd.isna(choice) else str(code)
        rows.setdefault(key, []).append(at)
        actor_of.setdefault(key, str(actor))
    place = {code: at for at, code in enumerate(named)}

    def rank(key: str) -> tuple[int, int, str]:
        return ORDER.index(actor_of[key]), place[key.partition(":")[0]], key

    return {key: rows[key] for key in sorted(rows, key=rank)}


def total(kinds: Sequence[str], lengths: Sequence[float]) -> str:
    """Return what a lane's bouts, of these kinds and seconds, come to: how many, and of a state how long in all."""
    if any(kind != "state" for kind in kinds):
        return f"{len(kinds)}"
    return f"{len(kinds)} · {seconds_face(math.fsum(lengths))}"
