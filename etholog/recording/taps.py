"""Taps on a phone that watches too: what one says, and where those are kept that come when the session has ended."""

import contextlib
import json
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from etholog.base import files, journal
from etholog.base.refusal import Refusal
from etholog.ethogram.own_keys import OWN_KEYS, Act, Where
from etholog.session.drafts import TAP_ID

NOTE = "note"
ACTS = {act.name.lower(): act for act in (Act.UNDO, Act.EARLIER, Act.OTHER, Act.DOUBT, Act.AWAY, Act.RESCUE)}
WORDS = {
    name: key.short for name, act in ACTS.items() for key in OWN_KEYS if key.act is act and key.where & Where.STRIP
} | {NOTE: "note"}


@dataclass(frozen=True)
class Tap:
    """One tap, in milliseconds of the session: made at `t`, or for all that is known from `earliest` to `latest`.

    `act` is one of `ACTS`, or `NOTE` with its `text`; '' for a mark of `what`: a behaviour's code, and its choice after
    a colon. An `other` may have that as well: what it should have been. A correction is `of` what the phone showed: a
    record, another tap's id, or None for whatever was last. `sure` is False where the phone's clock was never
    compared.
    """

    id: str
    t: int
    earliest: int
    latest: int
    what: str = ""
    act: str = ""
    of: int | str | None = None
    text: str = field(default="", repr=False)
    sure: bool = True

    def __post_init__(self) -> None:
        if not re.fullmatch(TAP_ID, self.id) or not 0 <= self.earliest <= self.t <= self.latest:
            raise ValueError(f"not a tap: {self}")
        if self.act not in ("", NOTE, *ACTS) or not (self.act or self.what):
            raise ValueError(f"not a tap: {self}")


def phone_file(session: Path) -> Path:
    """Return where the address and the token of a session's phone are kept until it has ended."""
    return session.with_name(f".{session.name}.phone")


class LateTaps:
    """The file of the taps that came after a session had ended, beside it: `etholog amend` offers them."""

    def __init__(self, session: Path) -> None:
        self.path = session.with_name(f".{session.name}.taps")

    def keep(self, tap: Tap) -> None:
        """Add one, on the disk before this returns. OSError where that can't be; the file is as it was then."""
        # A line that a power cut tore has no end: none is glued to it.
        journal.add_whole(self.path, b"\n" + json.dumps(asdict(tap)).encode() + b"\n")

    def read(self) -> list[Tap]:
        """Return them in the order of their times, each once; a line that is torn or none of ours is left out."""
        taps: dict[str, Tap] = {}
        with contextlib.suppress(Refusal):
            for line in files.read(self.path).splitlines():
                if (tap := _decoded(line)) is not None:
                    taps.setdefault(tap.id, tap)
        return sorted(taps.values(), key=lambda tap: tap.t)

    def forget(self) -> None:
        """They are in the journal, or were left out by choice."""
        with contextlib.suppress(OSError):
            self.path.unlink()


def _decoded(line: bytes) -> Tap | None:
    try:
        told: Mapping[str, Any] = json.loads(line)
        return Tap(**told)
    except (ValueError, TypeError, RecursionError):
        return None
