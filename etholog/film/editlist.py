"""A cut list for other programs: CMX 3600 EDL, OpenTimelineIO, and JSON of our own."""

import json
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from etholog.base.refusal import Refusal
from etholog.base.text import visible
from etholog.ethogram import Ethogram
from etholog.film.alignment import error_told
from etholog.film.captions import Words, sentence
from etholog.film.cuts import Cut, CutList
from etholog.session.folding import Bout

MOST_EVENTS = 999  # an event of CMX 3600 has a number of three digits


def timecode(frame: int, rate: Fraction) -> str:
    """Return hh:mm:ss:ff, counted without dropped numbers: at 29.97 frames a second 30 numbers make a second."""
    whole = max(1, round(rate))
    seconds, frames = divmod(frame, whole)
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}:{frames:02d}"


def edl(cuts: CutList, title: str) -> str:
    """Return a CMX 3600 edit decision list: one video track, outs exclusive, M2 lines for what is speeded up.

    Own code: the adapter of OpenTimelineIO refuses 15 and 12.5 frames a second, which phones and webcams make.
    """
    if len(cuts.cuts) > MOST_EVENTS:
        raise Refusal(
            f"{len(cuts.cuts)} cuts, and an EDL holds {MOST_EVENTS}: join more (--join), or write .otio or .json"
        )
    rate = cuts.rate
    told = f"{float(rate):g}".upper()
    lines = [f"TITLE: {visible(title)[:60]} ({told} FPS)", "FCM: NON-DROP FRAME", ""]
    for number, (cut, start) in enumerate(zip(cuts.cuts, cuts.starts, strict=False), 1):
        reel = f"CLIP{cut.clip + 1:04d}"
        times = (cut.first, cut.end, start, start + cut.frames)
        lines.append(f"{number:03d}  {reel:<8} V     C        {' '.join(timecode(frame, rate) for frame in times)}")
        if cut.speed > 1:
            lines.append(
                f"M2   {reel:<8}       {float(cut.speed * rate):05.1f}                {timecode(cut.first, rate)}"
            )
        lines.append(f"* FROM CLIP NAME: {visible(cuts.clips[cut.clip].path.name)}")
        lines += [f"* COMMENT: {visible(named.text).upper()}" for named in cuts.names(cuts.stretch(cut))]
    return "\n".join([*lines, f"* {error_told(cuts.clips).upper()}"]) + "\n"


def plain(cuts: CutList, session: str) -> dict[str, Any]:
    """Return the cut list as plain values; frames are counted from 0, `end` is exclusive, session times are in ms."""
    return {
        "format": "etholog-cuts/1",
        "session": session,
        "frames_per_s": [cuts.rate.numerator, cuts.rate.denominator],
        "frames": cuts.starts[-1],
        "alignment": error_told(cuts.clips),
        "clips": [{"file": str(clip.path), "seconds": clip.seconds, "begins_ms": clip.begins} for clip in cuts.clips],
        "cuts": [
            {
                "clip": cut.clip,
                "first": cut.first,
                "end": cut.end,
                "speed": cut.speed,
                "at": start,
                "session_ms": [round(t, 3) for t in stretch],
                **({"stretches": [named.text for named in cuts.names(stretch)]} if cuts.named else {}),
            }
            for cut, start, stretch in zip(cuts.cuts, cuts.starts, cuts.stretches, strict=False)
        ],
    }


def as_json(cuts: CutList, session: str) -> str:
    """Return `plain` as text."""
    return json.dumps(plain(cuts, session), ensure_ascii=False, indent=1) + "\n"


def as_otio(cuts: CutList, title: str, bouts: Sequence[Bout], ethogram: Ethogram) -> str:
    """Return an OpenTimelineIO file: a clip for each cut, in it a marker for each bout that begins there."""
    try:
        import opentimelineio as otio
    except ImportError:
        raise Refusal("writing .otio needs OpenTimelineIO; run: pip install opentimelineio") from None
    rate = float(cuts.rate)

    def span(first: int, end: int) -> Any:
        return otio.opentime.TimeRange(
            otio.opentime.RationalTime(first, rate), otio.opentime.RationalTime(end - first, rate)
        )

    track = otio.schema.Track(name="film", kind=otio.schema.TrackKind.Video)
    for cut, (start, end) in zip(cuts.cuts, cuts.stretches, strict=True):
        source = cuts.clips[cut.clip]
        media = otio.schema.ExternalReference(
            target_url=source.path.absolute().as_uri(), available_range=span(0, int(source.seconds * cuts.rate))
        )
        clip = otio.schema.Clip(name=source.path.name, media_reference=media, source_range=span(cut.first, cut.end))
        if cut.speed > 1:
            clip.source_range = span(cut.first, cut.first + cut.frames)
            clip.effects.append(otio.schema.LinearTimeWarp(name="wait", time_scalar=float(cut.speed)))
        for bout in bouts:
            if start <= bout.onset < end:
                clip.markers.append(_marker(otio, bout, ethogram, span, cuts, cut))
        for named in cuts.names((start, end)):
            first = max(cut.first, cuts.frame_of(cut, named.onset))
            last = min(cut.end, max(first, cuts.frame_of(cut, named.offset)))
            clip.markers.append(otio.schema.Marker(name=named.text, marked_range=span(first, last)))
        track.append(clip)
    timeline = otio.schema.Timeline(name=title)
    timeline.metadata["etholog"] = {"alignment": error_told(cuts.clips)}
    timeline.tracks.append(track)
    written: str = otio.adapters.write_to_string(timeline, "otio_json")
    return written


def _marker(otio: Any, bout: Bout, ethogram: Ethogram, span: Any, cuts: CutList, cut: Cut) -> Any:
    first = cuts.frame_of(cut, bout.onset)
    last = min(max(cuts.frame_of(cut, bout.offset), first), cut.end)
    told = {"code": bout.code, "actor": ethogram.by_code[bout.code].actor, "qualifier": bout.qualifier or ""}
    return otio.schema.Marker(
        name=sentence(bout, ethogram, Words()), marked_range=span(first, last), metadata={"etholog": told}
    )
