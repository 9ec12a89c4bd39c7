"""The report as one HTML file that asks nothing of any network."""

import base64
import hashlib
from collections.abc import Sequence
from concurrent.futures import Executor
from datetime import date
from pathlib import Path

import pandas as pd
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from etholog import __version__
from etholog.analysis import outcome
from etholog.analysis.design import how_many
from etholog.animals.care import Task
from etholog.base.language import beside, current, gettext, ngettext, unchecked
from etholog.report import films, outcomes, sessions, short
from etholog.report.content import Report, shown
from etholog.report.measured import measured
from etholog.report.sections import sections
from etholog.report.svg import Drawings
from etholog.season import Season, began_there
from etholog.session import Session, summary


def html(
    season: Season,
    read: Sequence[Session],
    today: date | None = None,
    whole: bool | None = None,
    tasks: Sequence[Task] = (),
    pool: Executor | None = None,
) -> str:
    """Return the page on a season's sessions; `read` are those sessions, each once, for the words of
    their summaries.

    `today`: what came of the pairings as the cards know it on that day; left out where not given. `whole`: with the
    whole strip of each session (not given: where there are at most 40). `tasks`: what is to be done for the two of a
    single session. `pool`: processes that draw (`svg.processes`).
    """
    drawings = Drawings(pool)
    report = _report(season, read, today, whole, tasks, drawings)
    environment = Environment(
        loader=PackageLoader("etholog.report"),
        autoescape=True,
        # Whatever words come from: nothing that turns or hides text, and no end to it.
        finalize=lambda value: shown(value) if type(value) is str else value,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals |= {"gettext": gettext, "beside": beside}
    # These two are ours, word for word, and the page's policy names them by their digest.
    style, script = (Markup(_text(name)) for name in ("page.css", "page.js"))
    policy = (
        f"default-src 'none'; style-src '{_digest(style)}'; script-src '{_digest(script)}'; img-src data:;"
        " base-uri 'none'; form-action 'none'"
    )
    return environment.get_template("page.html").render(
        report=report,
        style=style,
        script=script,
        policy=policy,
        shared=drawings.shared,
        version=__version__,
        language=current(),
        unchecked=unchecked(),
    )


def _report(
    season: Season,
    read: Sequence[Session],
    today: date | None,
    whole: bool | None,
    tasks: Sequence[Task],
    drawings: Drawings,
) -> Report:
    one = len(season.sessions) == 1
    attempts = outcome.outcomes(season, today) if today else pd.DataFrame()
    measures = measured(season)
    # What other processes draw comes first, so that they do it while the rest is put into words here.
    asked = [
        *(films.section(read[0], drawings) if one else ()),
        *(outcomes.section(attempts, drawings, today) if today else ()),
    ]
    others = sections(season, measures, drawings)
    notes = sessions.notes(season, read, whole)
    if one:
        summary_ = short.of_session(read[0], float(season.sessions["watched_s"].iloc[0]), list(notes[0].lines))
    else:
        summary_ = short.of_season(season, measures, read, attempts, today)
    return Report(
        _title(season, read),
        _lede(season),
        bool((season.sessions["source"] == "invented").all()),
        summary_,
        [*asked, *others],
        notes,
        sessions.evening(read[0], tasks) if one else None,
        [str(finding) for finding in season.findings],
    )


def _text(name: str) -> str:
    return (Path(__file__).parent / "templates" / name).read_text(encoding="utf-8")


def _digest(text: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}"


def _title(season: Season, read: Sequence[Session]) -> str:
    rows = season.sessions
    if len(rows) == 1:
        return next(iter(summary.lines(read[0])))
    days = began_there(rows)
    first, last = (f"{day:%Y-%m-%d}" for day in (days.min(), days.max()))
    return ngettext(
        "{n} session, {first} to {last}", "{n} sessions, {first} to {last}", len(rows), first=first, last=last
    )


def _lede(season: Season) -> str:
    rows = season.sessions
    said = [_animals(rows)] if len(rows) > 1 else []
    for word in ("species", "place", "observer"):
        said += [", ".join(sorted({str(name) for name in rows[word] if name}))]
    return "; ".join(filter(None, said))


def _animals(rows: pd.DataFrame) -> str:
    males = ngettext("{n} male", "{n} males", how_many(rows["male"]))
    females = ngettext("{n} female", "{n} females", how_many(rows["female"]))
    return gettext("{males} and {females}", males=males, females=females)
