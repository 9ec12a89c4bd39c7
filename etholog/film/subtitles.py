"""Captions and chapters as files: WebVTT (W3C), SubRip, FFmetadata. Pure: cues in, text out."""

from collections.abc import Sequence
from fractions import Fraction

from etholog.base.text import readable
from etholog.film.captions import Cue, one_at_a_time


def milliseconds(frame: int, rate: Fraction) -> int:
    """Return when a frame comes, rounded down: a cue must be on, or gone, when its frame is shown."""
    return frame * 1000 * rate.denominator // rate.numerator


def _clock(ms: int, mark: str) -> str:
    return f"{ms // 3_600_000:02d}:{ms // 60_000 % 60:02d}:{ms // 1000 % 60:02d}{mark}{ms % 1000:03d}"


def webvtt(cues: Sequence[Cue], rate: Fraction, about: str = "") -> str:
    """Return WebVTT, https://www.w3.org/TR/webvtt1/, of captions or chapters; `about` goes into a note."""
    blocks = ["WEBVTT\n", *([f"NOTE {readable(about).replace('>', '›')}\n"] if about else [])]
    for cue in cues:
        start, end = (_clock(milliseconds(frame, rate), ".") for frame in (cue.first, cue.end))
        # With every > escaped, the arrow that would end a cue can't stand in it.
        text = "\n".join(lines_of(cue.text)).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
        blocks.append(f"{start} --> {end}\n{text}\n")
    return "\n".join(blocks)


def lines_of(text: str) -> list[str]:
    """Return the lines of a caption, made safe; an empty one would end it."""
    return [readable(line) for line in text.splitlines() if line.strip()]


def unmarked(text: str, between: str) -> str:
    """Return a caption with likenesses in place of the signs that SubRip's players, and ASS, take for markup."""
    return between.join(line.translate(str.maketrans("<>{}\\", "‹›❴❵⧵")) for line in lines_of(text))


def subrip(cues: Sequence[Cue], rate: Fraction) -> str:
    """Return SubRip. It has no escapes (see `unmarked`) and shows one cue at a time."""
    blocks = []
    for number, cue in enumerate(one_at_a_time(cues), 1):
        start, end = (_clock(milliseconds(frame, rate), ",") for frame in (cue.first, cue.end))
        blocks.append(f"{number}\n{start} --> {end}\n{unmarked(cue.text, chr(10))}\n")
    return "\n".join(blocks)


def ffmetadata(cues: Sequence[Cue], rate: Fraction, about: str = "") -> str:
    """Return chapters as FFmetadata, `about` as the comment. Without a TIMEBASE readers take nanoseconds: it is always
    written."""
    blocks = [";FFMETADATA1\n", *([f"comment={_escaped(about)}\n"] if about else [])]
    for cue in cues:
        start, end = milliseconds(cue.first, rate), milliseconds(cue.end, rate)
        blocks.append(f"[CHAPTER]\nTIMEBASE=1/1000\nSTART={start}\nEND={end}\ntitle={_escaped(cue.text)}\n")
    return "".join(blocks)


def _escaped(text: str) -> str:
    return "".join("\\" + sign if sign in "=;#\\" else sign for sign in " ".join(lines_of(text)))
