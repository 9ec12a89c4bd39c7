"""The report as one HTML file that asks nothing of any network."""

import base64
import hashlib
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from etholog import __version__, figures
from etholog.report import outcomes
from etholog.report.content import Note, Report, shown
from etholog.report.sections import sections
from etholog.report.svg import Drawings
from etholog.season import Season
from etholog.session import Session, log, summary


def html(season: Season, read: Sequence[Session], today: date | None = None) -> str:
    """Return the page on a season's sessions; `read` are those sessions, for the words of their summaries.

    `today`: what came of the pairings as the cards know it on that day; left out where not given.
    """
    drawings = Drawings()
    report = Report(
        _title(season, read),
        _lede(season),
        bool((season.sessions["source"] == "invented").all()),
        [*(outcomes.section(season, drawings, today) if today else ()), *sections(season, drawings)],
        list(_notes(season, read, drawings)),
        [str(finding) for finding in season.findings],
    )
    environment = Environment(
        loader=PackageLoader("etholog.report"),
        autoescape=True,
        # Whatever words come from: nothing that turns or hides text, and no end to it.
        finalize=lambda value: shown(value) if type(value) is str else value,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    # These two are ours, word for word, and the page's policy names them by their digest.
    style, script = (Markup(_text(name)) for name in ("page.css", "page.js"))
    policy = (
        f"default-src 'none'; style-src '{_digest(style)}'; script-src '{_digest(script)}'; img-src data:;"
        " base-uri 'none'; form-action 'none'"
    )
    return environment.get_template("page.html").render(
        report=report, style=style, script=script, policy=policy, shared=drawings.shared, version=__version__
    )


def _text(name: str) -> str:
    return (Path(__file__).parent / "templates" / name).read_text(encoding="utf-8")


def _digest(text: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}"


def _title(season: Season, read: Sequence[Session]) -> str:
    rows = season.sessions
    if len(rows) == 1:
        return next(iter(summary.lines(read[0])))
    first, last = (f"{day:%Y-%m-%d}" for day in (rows["began"].min(), rows["began"].max()))
    return f"{len(rows)} sessions, {first} to {last}"


def _lede(season: Season) -> str:
    rows = season.sessions
    said = [f"{rows['male'].nunique()} males and {rows['female'].nunique()} females"] if len(rows) > 1 else []
    for word in ("species", "place", "observer"):
        said += [", ".join(sorted({str(name) for name in rows[word] if name}))]
    return "; ".join(filter(None, said))


def _notes(season: Season, read: Sequence[Session], drawings: Drawings) -> list[Note]:
    by_id = {one.id: one for one in reversed(read)}
    notes = []
    for number, name in enumerate(season.sessions["session"], 1):
        heading, *lines = summary.lines(by_id[str(name)])
        moments = [(t / 1000, kind) for t, kind in log.signs(by_id[str(name)])]
        strip = drawings.picture(figures.strip(season, str(name), moments=moments), "", f"Strip: {heading}")
        told = [line.strip() for line in lines]
        notes.append(Note(f"session-{number}", heading, told, strip))
    return notes
