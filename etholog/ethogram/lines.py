"""Where in a TOML file a member stands."""

import re

from etholog.ethogram.contradictions import Where


class Lines:
    """Finds the line of a table's member in TOML text. tomllib and tomlkit give no positions, so the headers are
    counted."""

    def __init__(self, text: str) -> None:
        self._lines = text.splitlines()

    def at(self, where: Where) -> int:
        """Return the line, from 1, of e.g. ("behaviour", 3, "key"); the nearest one above it where the member isn't
        there."""
        start, end = 0, len(self._lines)
        rest = list(where)
        if len(where) >= 2 and isinstance(where[1], int):
            headers = [i for i, line in enumerate(self._lines) if re.match(rf"\s*\[\[\s*{where[0]}\s*\]\]", line)]
            if where[1] < len(headers):
                start = headers[where[1]]
                end = next((i for i in range(start + 1, end) if re.match(r"\s*\[", self._lines[i])), end)
            rest = rest[2:]
        if rest and isinstance(rest[0], str):
            for i in range(start, end):
                if re.match(rf"\s*{re.escape(rest[0])}\s*[=.]", self._lines[i]):
                    return i + 1
        return start + 1
