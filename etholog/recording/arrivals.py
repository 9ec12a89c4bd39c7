"""Keys noted as they arrive, before the screen takes them up.

A terminal that stops reading (a frozen ssh, a selection in an old console) stops Textual's event loop, and with it
the journal. So the
input thread itself writes each key into a small hidden file beside the session; what never reached the journal can
be offered back.
"""

import contextlib
import json
import os
from pathlib import Path
from typing import NamedTuple


class Arrival(NamedTuple):
    """A key, and when it arrived, in milliseconds since the session began."""

    key: str
    t: int


class Arrivals:
    """The file of a session's arrivals. Losing it loses nothing but this second net, so its errors are passed over."""

    def __init__(self, session: Path) -> None:
        self.path = session.with_name(f".{session.name}.keys")
        self._descriptor = -1

    def note(self, key: str, t: int) -> None:
        """Add a key: one write, from whatever thread."""
        try:
            if self._descriptor < 0:
                self._descriptor = os.open(self.path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
            os.write(self._descriptor, json.dumps([key, t]).encode() + b"\n")
        except (OSError, ValueError):
            pass

    def unhandled(self, last: int) -> list[Arrival]:
        """Return the keys that arrived after the journal's last record, at `last` ms."""
        try:
            lines = self.path.read_bytes().splitlines()
        except OSError:
            return []
        found = []
        for line in lines:
            try:
                key, t = json.loads(line)
                arrival = Arrival(str(key)[:1], int(t))
            except (ValueError, TypeError):
                continue  # torn, or nothing of ours
            if arrival.t > last and arrival.key.isprintable() and arrival.key:
                found.append(arrival)
        return found

    def forget(self) -> None:
        """Remove the file: everything is in the journal."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1
        with contextlib.suppress(OSError):
            self.path.unlink()
