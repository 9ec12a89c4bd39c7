"""Captions and chapters as files: WebVTT (W3C), SubRip, FFmetadata. Pure: cues in, text out."""

from collections.abc import Sequence
from fractions import Fraction

from etholog.film.captions import Cue
from etholog.text import visible


def milliseconds(frame: int, rate: Fraction) -> int:
    """Return when a frame comes, rounded down: a cue must be on, or gone, when its frame is shown."""
    return frame * 1000 * rate.denominator // rate.numerator


def _clock(ms: int, mark: str) -> str:
    return f"{ms // 3_600_000:02d}:{ms // 60_000 % 60:02d}:{ms // 1000 % 60:02d}{mark}{ms % 1000:03d}"


def webvtt(cues: Sequence[Cue], rate: Fraction) -> str:
    """Return WebVTT, https://www.w3.org/TR/webvtt1/; for captions and for chapters alike."""
    blocks = ["WEBVTT\n"]
    for cue in cues:
        start, end = (_clock(milliseconds(frame, rate), ".") for frame in (cue.first, cue.end))
        # With every > escaped, the arrow that would end a cue can't stand in it.
        text = visible(cue.text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
        blocks.append(f"{start} --> {end}\n{text}\n")
    return "\n".join(blocks)


def subrip(cues: Sequence[Cue], rate: Fraction) -> str:
    """Return SubRip. It has no escapes, so signs that players take for markup or arrows become their likenesses."""
    blocks = []
    for number, cue in enumerate(cues, 1):
        start, end = (_clock(milliseconds(frame, rate), ",") for frame in (cue.first, cue.end))
        text = visible(cue.text).translate(str.maketrans("<>{}", "‹›❴❵"))
        blocks.append(f"{number}\n{start} --> {end}\n{text}\n")
    return "\n".join(blocks)


def ffmetadata(cues: Sequence[Cue], rate: Fraction) -> str:
    """Return chapters as FFmetadata. Without a TIMEBASE readers take nanoseconds, so it is always written."""
    blocks = [";FFMETADATA1\n"]
    for cue in cues:
        title = "".join("\\" + sign if sign in "=;#\\" else sign for sign in visible(cue.text))
        start, end = milliseconds(cue.first, rate), milliseconds(cue.end, rate)
        blocks.append(f"[CHAPTER]\nTIMEBASE=1/1000\nSTART={start}\nEND={end}\ntitle={title}\n")
    return "".join(blocks)
