"""What a search of its films found, on the page of a single session. Searches nothing: that may take hours."""

from functools import partial

import pandas as pd

from etholog.base.language import gettext, gettext_noop, ngettext, number
from etholog.base.text import STILLNESS
from etholog.base.workspace import workspace_of
from etholog.film import hours
from etholog.film.alignment import clips_of, error_told
from etholog.film.captions import moment
from etholog.film.contents import found_again
from etholog.film.search import known
from etholog.film.stretches import found
from etholog.report import drawing
from etholog.report.content import Section, table
from etholog.report.svg import Drawings
from etholog.session import Session

HEADS = {
    "at": gettext_noop("time of the session"),
    "seconds": gettext_noop("seconds"),
    "strength": gettext_noop("strength"),
    "where": gettext_noop("where in the picture"),
    "why": gettext_noop("why"),
    "film": gettext_noop("film"),
}


WHERE = {
    "top left": gettext_noop("top left"),
    "top": gettext_noop("top"),
    "top right": gettext_noop("top right"),
    "left": gettext_noop("at the left"),
    "middle": gettext_noop("middle"),
    "right": gettext_noop("at the right"),
    "bottom left": gettext_noop("bottom left"),
    "bottom": gettext_noop("bottom"),
    "bottom right": gettext_noop("bottom right"),
}


def section(read: Session, drawings: Drawings) -> list[Section]:
    """Return what moves on the session's films as a section; none where no film was searched."""
    clips, _ = found_again(clips_of(read), workspace_of(read.path))
    held = [(clip, known(clip.path)) for clip in clips]
    searched = [(clip, one) for clip, one in held if one is not None]
    if not searched:
        return []
    spans = [(clip, found(one.trace, one.shape)) for clip, one in searched]
    rows = [
        row
        | {
            "at": moment(clip.session_ms(stretch.onset_s)),
            "where": gettext(WHERE[row["where"]]),
            "why": gettext(stretch.why),
        }
        for clip, own in spans
        for stretch, row in zip(own, hours.rows(clip.path.name, own), strict=True)
    ]
    look_s = sum(stretch.offset_s - stretch.onset_s for _, own in spans for stretch in own)
    length_s = sum(clip.seconds for clip, _ in searched)
    curve = pd.DataFrame(hours.curve([(clip.begins / 1000, one.trace) for clip, one in searched]))
    bars = pd.DataFrame(hours.bars([(clip.begins / 1000, own) for clip, own in spans]))
    told = error_told(clips)
    missing = [clip.path.name for clip, one in held if one is None]
    return [
        Section(
            anchor="film",
            question=gettext("What moves on the film?"),
            answer=ngettext(
                "Something moves in {n} stretch, {moves} of {length} min of film.",
                "Something moves in {n} stretches, {moves} of {length} min of film.",
                len(rows),
                moves=number(look_s / 60, ".1f"),
                length=number(length_s / 60, ".1f"),
            ),
            pictures=[
                drawings.picture(
                    partial(drawing.activity, curve, bars),
                    gettext(
                        "How much moves, in thresholds (1 has just reached it); below, the stretches, and hatched,"
                        " where the picture was disturbed. Time 0 is the beginning of the session."
                    ),
                    gettext("How much moves on the film"),
                )
            ],
            tables=[
                table(
                    pd.DataFrame(rows, columns=list(HEADS)),
                    gettext("Each stretch that a search of the film found."),
                    HEADS,
                    rest="etholog film search FILM",
                )
            ],
            method=gettext(
                "Each block of the picture is judged by its own noise, the threshold by the film's quiet half."
            ),
            source=gettext("Extremes of noise: Gumbel 1958; the method is our own, chosen on made films."),
            cautions=[
                gettext(STILLNESS),
                f"{told[0].upper()}{told[1:]}.",
                *([gettext("Not searched: {films}.", films=", ".join(missing))] if missing else []),
            ],
        )
    ]
