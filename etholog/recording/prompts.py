"""When a prompt of the ethogram is due. Pure: times in milliseconds since the session began."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from etholog.ethogram import Ethogram, Prompt
from etholog.recording.live import Live


class Prompts:
    """Looks at a session now and then, and gives each prompt once for each cause.

    What its `records` say was shown already is not shown again: a session may be resumed.
    """

    def __init__(self, ethogram: Ethogram, records: Iterable[Mapping[str, Any]] = ()) -> None:
        self._prompts = ethogram.prompt
        self._told: dict[str, int] = {r["name"]: r["t"] for r in records if r["do"] == "prompt"}  # when, the last time

    def due(self, live: Live, now: int) -> Iterator[Prompt]:
        """Yield what is due now and was not yet; after a rescue only what is urgent."""
        for prompt in self._prompts:
            cause = _cause(prompt, live, now)
            if cause is None or self._told.get(prompt.name, -1) >= cause + _wait(prompt):
                continue
            self._told[prompt.name] = now
            if prompt.urgent or not live.rescued:
                yield prompt


def is_taken_back(prompt: Prompt, live: Live) -> bool:
    """Tell whether nothing is left of what made a prompt due: it was marked by mistake."""
    codes = prompt.after or tuple(filter(None, [prompt.during]))
    return bool(codes) and not any(code in live.latest for code in codes)


def _cause(prompt: Prompt, live: Live, now: int) -> int | None:
    """Return the instant that makes the prompt due, which tells one cause from the next; None when it is not due."""
    if prompt.after:
        began = [live.latest[code] for code in prompt.after if code in live.latest]
    elif prompt.during is not None:
        began = [bout.onset for bout in live.folding.running.values() if bout.code == prompt.during]
    elif prompt.without:
        if live.folding.gap is not None or any(bout.code in prompt.without for bout in live.folding.running.values()):
            return None  # while nobody watches, nobody can say that it was missing
        ended = [bout.offset for bout in live.folding.bouts[-200:] if bout.code in prompt.without]
        watched = [gap.offset for gap in live.folding.gaps]
        began = [max([0, *(live.latest.get(code, 0) for code in prompt.without), *ended, *watched])]
    else:
        began = [0]
    return max(began) if began and now - max(began) >= _wait(prompt) else None


def _wait(prompt: Prompt) -> int:
    return round((prompt.minutes or 0) * 60_000)
