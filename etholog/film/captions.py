"""Captions and chapters: what is seen when, in plain sentences. Pure; times are frames of the film that a cut list
makes."""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, zip_longest
from pathlib import Path
from typing import NamedTuple

from etholog.base import files
from etholog.base.clock import LATER_MS, clock_face
from etholog.base.language import gettext, gettext_noop
from etholog.base.refusal import Refusal
from etholog.base.text import nearest
from etholog.ethogram import STAGES, Ethogram
from etholog.film.cuts import CutList
from etholog.session.folding import Bout

SHORTEST_MS = 1500  # what is over sooner stays to be read for so long; own choice
SHORTEST_CHAPTER_MS = 10_000  # a change of stage for less makes no chapter; own choice
UNSURE = gettext_noop("(unsure)")
BEFORE = gettext_noop("before")
# Whose it is, where the label does not say so.
WHOSE = {"male": gettext_noop("Male: {what}."), "female": gettext_noop("Female: {what}.")}


class Cue(NamedTuple):
    """Words shown from frame `first` up to, not including, frame `end`."""

    first: int
    end: int
    text: str


@dataclass(frozen=True)
class Words:
    """Sentences that replace our own: by code or `code:qualifier`, by stage (and `before`), and for what is unsure."""

    captions: Mapping[str, str] = field(default_factory=dict)
    chapters: Mapping[str, str] = field(default_factory=dict)
    unsure: str = UNSURE


def read_words(path: Path, ethogram: Ethogram) -> Words:
    """Read a language file: TOML with the tables `captions` and `chapters`, and `unsure`. Raises Refusal with the
    fault."""
    try:
        values = tomllib.loads(files.read(path).decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        raise Refusal(f"{path}: is not TOML in UTF-8: {error}; mend that place first") from None
    codes = [b.code for b in ethogram.behaviour]
    sides = [f"{b.code}:{choice.name}" for b in ethogram.behaviour for choice in b.choices]
    known = {"captions": [*codes, *sides], "chapters": ["before", *STAGES]}
    for name, value in values.items():
        if name == "unsure" and isinstance(value, str):
            continue
        if name not in known or not isinstance(value, dict):
            raise Refusal(f"{path}: {name!r} is not one of captions, chapters (tables), unsure (text); take it out")
        for word, text in value.items():
            if word not in known[name]:
                raise Refusal(f"{path}: {name}: no {word!r}{nearest(word, known[name])}")
            if not isinstance(text, str) or not text.strip():
                raise Refusal(f"{path}: {name}: {word} has no text; write it in quotation marks")
    return Words(values.get("captions", {}), values.get("chapters", {}), values.get("unsure", UNSURE))


def sentence(bout: Bout, ethogram: Ethogram, words: Words) -> str:
    """Return what a caption says of a bout.

    Our own sentence is the label, after whose it is where the label doesn't tell, and the qualifier after it.
    """
    behaviour = ethogram.by_code[bout.code]
    text = words.captions.get(f"{bout.code}:{bout.qualifier}")
    if text is None:
        text = words.captions.get(bout.code)
        if text is None:
            label = behaviour.label
            named = label.startswith(("he ", "she ", "they ", "one ")) or behaviour.actor in ("pair", "keeper")
            said = behaviour.words
            text = f"{_capital(said)}." if named else gettext(WHOSE[behaviour.actor], what=said)
        if bout.qualifier:
            text = f"{text.removesuffix('.')}, {gettext(bout.qualifier.replace('_', ' '))}."
    return text if bout.sure else f"{text} {gettext(words.unsure)}"


def captions(bouts: Sequence[Bout], ethogram: Ethogram, cuts: CutList, words: Words) -> list[Cue]:
    """Return a cue for each bout that the film shows, sorted by their first frames."""
    shortest = round(SHORTEST_MS / 1000 * cuts.rate)
    last = cuts.starts[-1]
    cues = []
    for bout in bouts:
        text = sentence(bout, ethogram, words)
        for first, end in cuts.shown(bout.onset, bout.offset):
            cues.append(Cue(first, min(max(end, first + shortest), last), text))
    return sorted(cues)


def _capital(word: str) -> str:
    return word[:1].upper() + word[1:]


def moment(session_ms: float) -> str:
    """Return an instant of the session as h:mm:ss; what was filmed before it began has a minus.

    >>> moment(65_700.0), moment(-2_000.0)
    ('0:01:05', '-0:00:02')
    """
    return f"{'-' if session_ms < 0 else ''}{clock_face(int(abs(session_ms)))}"


def named_chapters(cuts: CutList) -> list[Cue]:
    """Return a chapter for each named part that the film shows, for films in which nothing was marked."""
    begun = [(next(cuts.shown(named.onset, named.offset), None), named.text) for named in cuts.named]
    shown = [(0 if at == 0 else part[0], text) for at, (part, text) in enumerate((p, t) for p, t in begun if p)]
    if not shown:
        return []
    ends = [*(first for first, _ in shown[1:]), cuts.starts[-1]]
    return [Cue(first, end, text) for (first, text), end in zip(shown, ends, strict=True) if first < end]


def hurried(cuts: CutList) -> list[Cue]:
    """Return a cue for each second of the cut film that runs faster: how fast, and the session's time."""
    step = max(1, round(cuts.rate))
    return [
        Cue(
            start + at,
            min(start + at + step, start + cut.frames),
            gettext(
                "{speed} times as fast, {time}",
                speed=cut.speed,
                time=moment(cuts.instant(cut, cut.first + at * cut.speed)),
            ),
        )
        for cut, start in zip(cuts.cuts, cuts.starts, strict=False)
        if cut.speed > 1
        for at in range(0, cut.frames, step)
    ]


def one_at_a_time(cues: Sequence[Cue]) -> list[Cue]:
    """Return cues that don't overlap, the lines of all that are on at once in one: for MP4 and SubRip."""
    edges = sorted({frame for cue in cues for frame in (cue.first, cue.end)})
    begun = sorted(cues)
    on: list[Cue] = []
    found: list[Cue] = []
    at = 0
    for first, end in pairwise(edges):
        while at < len(begun) and begun[at].first <= first:
            on.append(begun[at])
            at += 1
        on = [cue for cue in on if cue.end > first]
        text = "\n".join(dict.fromkeys(cue.text for cue in on))
        if found and found[-1].end == first and found[-1].text == text:
            found[-1] = found[-1]._replace(end=end)
        elif text:
            found.append(Cue(first, end, text))
    return found


def chapters(bouts: Sequence[Bout], ethogram: Ethogram, cuts: CutList, words: Words) -> list[Cue]:
    """Return the stages as chapters, one after the other, over the whole film."""
    stages = [(0, "before"), *((b.onset, ethogram.by_code[b.code].stage or "") for b in bouts)]
    begun = _lasting([(t, stage) for t, stage in stages if stage])
    found: list[Cue] = []
    for (onset, stage), following in zip_longest(begun, begun[1:]):
        shown = list(cuts.shown(onset, following[0] if following else LATER_MS))
        if shown:
            # A chapter begins where the one before it ends, whatever was cut between.
            title = words.chapters.get(stage) or _capital(gettext(stage))
            found.append(Cue(found[-1].end if found else 0, max(end for _, end in shown), title))
    if found:
        found[-1] = found[-1]._replace(end=cuts.starts[-1])
    return [cue for cue in found if cue.first < cue.end]


def all_chapters(bouts: Sequence[Bout], ethogram: Ethogram, cuts: CutList, words: Words) -> list[Cue]:
    """Return the stages as chapters, and within them the named parts, as far as there are any of both."""
    named = named_chapters(cuts)
    stages = chapters(bouts, ethogram, cuts, words) if bouts else []
    if not named or not stages:
        return named or stages
    titles = {cue.first: cue.text for cue in named}
    # A cut in which a stage was marked and nothing else was found is that stage's again.
    for cut, start, part in zip(cuts.cuts, cuts.starts, cuts.stretches, strict=False):
        if cut.speed == 1 and not cuts.names(part):
            titles.setdefault(start, "")
    edges = sorted({cue.first for cue in stages} | set(titles))
    found: list[Cue] = []
    text = ""
    for first, end in zip(edges, [*edges[1:], cuts.starts[-1]], strict=True):
        text = titles.get(first, text)
        stage = next((cue.text for cue in reversed(stages) if cue.first <= first), "")
        title = ": ".join(filter(None, (stage, text)))
        if found and found[-1].text == title:
            found[-1] = found[-1]._replace(end=end)
        elif first < end:
            found.append(Cue(first, end, title))
    return found


def _lasting(begun: Sequence[tuple[int, str]]) -> list[tuple[int, str]]:
    """Return when each stage begins that lasts; what is shorter belongs to the stage before it, or to the next."""
    changes = [now for before, now in pairwise([(-1, ""), *begun]) if now[1] != before[1]]
    kept: list[tuple[int, str]] = []
    for (t, stage), following in zip_longest(changes, changes[1:]):
        lasts = following is None or following[0] - t >= SHORTEST_CHAPTER_MS
        if lasts and (not kept or kept[-1][1] != stage):
            kept.append((t, stage))
    return kept
