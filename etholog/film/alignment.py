"""How the clock of a film lies to the clock of a session, and how far that may be wrong."""

import hashlib
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations
from pathlib import Path
from typing import Any, Literal

from etholog.base.journal import Journal
from etholog.base.language import gettext, gettext_noop, number
from etholog.base.refusal import Refusal
from etholog.film.evening import Part, part_at
from etholog.film.source import Source, probe
from etholog.session import FORMAT_1, Session, drafts
from etholog.session.record import FilmClip

# Own choices, said with every result. The clap or flash follows its key by a reaction time; two quartz clocks differ by
# some tens of millionths (from memory, no source); a file's time of creation has whole seconds, by the camera's clock.
SYNC_S, CLOCKS_PPM, ROUGH_S = 0.3, 50.0, 5.0
JITTER_S = 0.1  # by which two reaction times differ
ODD_PPM = 500.0
SAME_S = 0.0005  # lengths that differ by less are one
_ENDS = 2**20

Kind = Literal["film", "sound"]


@dataclass(frozen=True)
class Clip:
    """One file of film. `begins` is the session's millisecond at its first frame; see `record.FilmClip`."""

    path: Path
    seconds: float
    rate: Fraction
    begins: float
    ppm: float
    by: str
    anchors: tuple[tuple[float, float], ...]
    contents: str = ""
    """What the file holds, as `contents_of` tells it; '' where the journal does not say."""

    def session_ms(self, film_s: float) -> float:
        """Return the session's time, in milliseconds, of a film second."""
        return self.begins + 1000 * film_s / (1 + self.ppm / 1e6)

    def film_s(self, session_ms: float) -> float:
        """Return the film second of a session's millisecond; it may lie outside the film."""
        return (session_ms - self.begins) / 1000 * (1 + self.ppm / 1e6)

    @property
    def ends(self) -> float:
        """The session's millisecond at the film's end."""
        return self.session_ms(self.seconds)

    def error_s(self, film_s: float) -> float:
        """Return by how many seconds the alignment may be wrong at a film second."""
        if self.by == "watching":
            return float(1 / self.rate)
        first, last = self.anchors[0][1], self.anchors[-1][1]
        away = max(first - film_s, film_s - last, 0.0)
        if self.by == "creation time":
            return ROUGH_S + away * CLOCKS_PPM / 1e6
        if len(self.anchors) == 1:
            return SYNC_S + away * CLOCKS_PPM / 1e6
        return SYNC_S * (1 + 2 * away / (last - first))

    @property
    def worst_error_s(self) -> float:
        """The greatest error within the film."""
        return max(self.error_s(0.0), self.error_s(self.seconds))


def fit(anchors: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return (begins, ppm) of the line through pairs of (session ms, film s): least squares, and 0 ppm for one pair."""
    mean_t = sum(t for t, _ in anchors) / len(anchors)
    mean_f = sum(f for _, f in anchors) / len(anchors)
    spread = sum((t - mean_t) ** 2 for t, _ in anchors)
    slope = sum((t - mean_t) * (f - mean_f) for t, f in anchors) / spread * 1000 if spread else 1.0
    if not 0.98 < slope < 1.02:
        raise Refusal(
            f"by these times the film runs {slope:.3f} times as fast as the session: a mark or a time is a wrong one"
        )
    return mean_t - 1000 * mean_f / slope, (slope - 1) * 1e6


def by_syncs(parts: Sequence[Part], anchors: Sequence[tuple[float, float]]) -> list[Clip]:
    """Align films of one evening by (session ms, second of the evening).

    Films that follow each other without a pause are one, by the syncs that they show. Those that show none follow the
    nearest ones that do by their times of creation, and say so.
    """
    anchors = sorted(anchors, key=lambda pair: pair[1])
    shown: dict[int, list[tuple[float, float]]] = {}
    for t, second in anchors:
        shown.setdefault(part_at(parts, second).run, []).append((t, second))
    fits = {run: fit(own) for run, own in shown.items()}
    clips = []
    for part in parts:
        run = part.run if part.run in fits else min(fits, key=lambda other: _apart(part, shown[other]))
        begins, ppm = fits[run]
        start = begins + 1000 * part.at_s / (1 + ppm / 1e6)
        by = gettext_noop("creation time")
        own: tuple[tuple[float, float], ...] = ((start, 0.0),)
        if run == part.run:
            by = gettext_noop("one sync mark") if len(shown[run]) == 1 else gettext_noop("sync marks")
            own = tuple((t, second - part.at_s) for t, second in shown[run])
        clips.append(_clip(part.source, start, ppm, by, own))
    return clips


def _apart(part: Part, anchors: Sequence[tuple[float, float]]) -> float:
    return min(abs(second - part.at_s) for _, second in anchors)


def _clip(source: Source, begins: float, ppm: float, by: str, anchors: tuple[tuple[float, float], ...]) -> Clip:
    return Clip(source.path, source.seconds, source.rate, begins, ppm, by, anchors, contents_of(source.path))


def by_creation(session: Session, parts: Sequence[Part]) -> list[Clip]:
    """Align each film by the time of creation that it holds. Raises Refusal where one holds none."""
    clips: list[Clip] = []
    for part in parts:
        source = part.source
        if source.made is None:
            raise Refusal(
                f"{source.path}: does not tell when it was made; align it by a sync mark: --seen TIME, where TIME is "
                "when the clap or flash is on the film"
            )
        begins = (source.made - session.zero_by_wall).total_seconds() * 1000
        joined = clips[0].begins + 1000 * part.at_s if clips else begins
        if abs(joined - begins) <= 1000 * ROUGH_S:  # else two cameras filmed at a time
            begins = joined
        clip = _clip(source, begins, 0.0, "creation time", ((begins, 0.0),))
        if clip.ends < 0 or begins > session.fold.end:
            raise Refusal(
                f"{source.path}: was made at {source.made:%Y-%m-%d %H:%M:%S} UTC, which is not within this session; "
                "align it by a sync mark (--seen TIME)"
            )
        clips.append(clip)
    return clips


def by_themselves(parts: Sequence[Part]) -> list[Clip]:
    """Return films that no session is known of, whose own clock is the session's: it begins with the first of them."""
    return [_clip(part.source, 1000 * part.at_s, 0.0, "watching", ()) for part in parts]


def clips_of(session: Session, kind: Kind = "film") -> list[Clip]:
    """Return the films (or the recordings of sound alone) of a session, in the order in which they began; none when
    nothing was aligned."""
    records = [record for record in session.records if record["do"] == kind]
    if not records:
        return []
    folder = session.path.absolute().parent
    clips = [
        Clip(
            Path(os.path.normpath(folder / clip["file"])),
            clip["seconds"],
            Fraction(clip["rate"]),
            clip["begins"],
            clip["ppm"],
            clip["by"],
            tuple(clip["anchors"]),
            clip.get("contents", ""),
        )
        for clip in records[-1]["clips"]
    ]
    return sorted(clips, key=lambda clip: clip.begins)


def plain(clip: Clip, folder: Path, whole: bool = False) -> FilmClip:
    """Return a clip as the journal keeps it, in a session of that folder; `whole`: with its contents."""
    try:
        file = os.path.relpath(clip.path.absolute(), folder.absolute())
    except ValueError:  # another drive of Windows
        file = str(clip.path.absolute())
    told: FilmClip = {
        "file": Path(file).as_posix(),
        "seconds": clip.seconds,
        "rate": f"{clip.rate.numerator}/{clip.rate.denominator}",
        "begins": clip.begins,
        "ppm": clip.ppm,
        "by": clip.by,  # type: ignore[typeddict-item]
        "anchors": list(clip.anchors),
    }
    if whole and clip.contents:
        told["contents"] = clip.contents
    return told


def contents_of(path: Path) -> str:
    """Return what a file holds, short: its size, and the SHA-256 of its first and last mebibyte."""
    size = path.stat().st_size
    with path.open("rb") as file:
        digest = hashlib.sha256(file.read(_ENDS))
        file.seek(max(0, size - _ENDS))
        digest.update(file.read(_ENDS))
    return f"{size}-{digest.hexdigest()[:32]}"


def same_film(clip: Clip, path: Path) -> bool:
    """Tell whether a file holds a clip's film: by its contents; where those are not known, by its exact length."""
    try:
        if clip.contents:
            size = int(clip.contents.partition("-")[0])
            return path.stat().st_size == size and contents_of(path) == clip.contents
        source = probe(path)
    except (OSError, Refusal):
        return False
    return abs(source.seconds - clip.seconds) < SAME_S and source.rate == clip.rate


def moved(session: Session, sources: Sequence[Source], kind: Kind = "film") -> list[Clip]:
    """Return the clips of a session whose films these files are, each with its file; none unless all are known by
    their contents."""
    held = {clip.contents: clip for clip in clips_of(session, kind) if clip.contents}
    found = [(held.get(contents_of(source.path)), source) for source in sources]
    return [replace(clip, path=source.path) for clip, source in found if clip] if all(c for c, _ in found) else []


def replaced(session: Session, clips: Sequence[Clip], kind: Kind = "film") -> list[Clip]:
    """Return which films of a session others take the place of: those of the same file, or of the same film."""
    files = {os.path.normpath(clip.path.absolute()) for clip in clips}
    held = {clip.contents for clip in clips if clip.contents}
    return [clip for clip in clips_of(session, kind) if os.path.normpath(clip.path) in files or clip.contents in held]


def angles(clips: Sequence[Clip]) -> list[tuple[Clip, Clip]]:
    """Return which two films each show the same minutes, by more than their clocks may be wrong."""
    return [
        (a, b)
        for a, b in combinations(clips, 2)
        if (min(a.ends, b.ends) - max(a.begins, b.begins)) / 1000 > a.worst_error_s + b.worst_error_s
    ]


def keep(session: Session, clips: Sequence[Clip], kind: Kind = "film") -> None:
    """Append the clips to the session's journal, beside those of other films that it holds already."""
    new = [replace(clip, path=clip.path.absolute()) for clip in clips]
    gone = replaced(session, new, kind)
    _write(session, [*(clip for clip in clips_of(session, kind) if clip not in gone), *new], kind)


def forget(session: Session, films: Sequence[Path] = ()) -> list[Clip]:
    """Take films and recordings of sound (none named: all) off a session, and return them. Raises Refusal where one is
    not aligned."""
    kinds: tuple[Kind, Kind] = ("film", "sound")
    of_kind = {kind: clips_of(session, kind) for kind in kinds}
    held = [clip for own in of_kind.values() for clip in own]
    gone = [clip for clip in held if not films or any(_is(clip, film) for film in films)]
    for film in films:
        if not any(_is(clip, film) for clip in held):
            raise Refusal(f"{film}: is not aligned with {session.path}; {_told(held)}")
    if not gone:
        raise Refusal(f"{session.path}: has no film to forget")
    for kind, own in of_kind.items():
        if any(clip in gone for clip in own):
            _write(session, [clip for clip in own if clip not in gone], kind)
    return gone


def of_angle(clips: Sequence[Clip], name: str) -> list[Clip]:
    """Return the clip of that name, and those that show other minutes than it. Raises Refusal for another name."""
    chosen = [clip for clip in clips if _is(clip, Path(name))]
    if not chosen:
        raise Refusal(f"--angle {name}: is none of its films; {_told(clips)}")
    hidden = [clip for pair in angles(clips) if any(one in chosen for one in pair) for clip in pair]
    return [clip for clip in clips if clip in chosen or clip not in hidden]


def _is(clip: Clip, film: Path) -> bool:
    """Tell whether a clip is of the film that a user names, by its path or its name alone."""
    named = {clip.path.name, clip.path.stem} if film.name == str(film) else set()
    return str(film) in named or os.path.normpath(film.absolute()) == os.path.normpath(clip.path)


def _told(clips: Sequence[Clip]) -> str:
    names = ", ".join(clip.path.name for clip in clips)
    return f"its films are {names}" if names else "it has no film"


def _write(session: Session, clips: Sequence[Clip], kind: Kind) -> None:
    whole = session.header["format"] != FORMAT_1  # which etholog 0.1 reads, and would refuse what it does not know
    journal, _ = Journal.open(session.path)
    all_of_them = sorted(clips, key=lambda clip: clip.begins)
    draft = drafts.film if kind == "film" else drafts.sound
    journal.append(draft([plain(clip, session.path.parent, whole) for clip in all_of_them]))
    trouble = journal.trouble
    if not journal.close() or trouble:
        raise Refusal(f"{session.path}: the alignment could not be kept ({trouble or 'the disk did not answer'})")


def error_told(clips: Sequence[Clip]) -> str:
    """Say by how much times on the film may be wrong."""
    worst = max(clips, key=lambda clip: clip.worst_error_s)
    if worst.by == "watching":
        return gettext("times are those of the film's own frames")
    least = min(worst.error_s(f) for f in (*(f for _, f in worst.anchors), 0.0, worst.seconds))
    most = worst.worst_error_s
    within = f"{number(most, '.1f')} s"
    if round(most, 1) != round(least, 1):
        within = gettext("{least} s, and {most} s at its far end", least=number(least, ".1f"), most=number(most, ".1f"))
    rough = gettext("; that is rough, a sync mark is better") if worst.by == "creation time" else ""
    return gettext(
        "aligned by {by}: right within about {within}{rough}", by=gettext(worst.by), within=within, rough=rough
    )


def drift_told(clip: Clip) -> str:
    """Say which clock ran faster, by how much, and how well two times so far apart can tell."""
    ppm, apart = clip.ppm, clip.anchors[-1][1] - clip.anchors[0][1]
    return (
        f"the film's clock runs {abs(ppm):.1f} ppm {'fast' if ppm > 0 else 'slow'} "
        f"({abs(ppm) * 3.6:.0f} ms in an hour), "
        f"give or take {JITTER_S * 2**0.5 / apart * 1e6:.0f} ppm if each time is right to {JITTER_S} s"
    )


def describe(clips: Sequence[Clip]) -> list[dict[str, Any]]:
    """Return a row for each clip, for people."""
    return [
        {
            "file": clip.path.name,
            "by": clip.by,
            "begins_s": round(clip.begins / 1000, 3),
            "seconds": round(clip.seconds, 3),
            "frames_per_s": round(float(clip.rate), 3),
            "drift_ppm": round(clip.ppm, 2),
            "error_s": round(clip.worst_error_s, 2),
        }
        for clip in clips
    ]
