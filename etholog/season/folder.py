"""A folder of sessions read into tables."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from pathlib import Path

import pandas as pd

from etholog import animals as animals_
from etholog import session
from etholog.animals import Animals, naming
from etholog.animals.card import Entry
from etholog.animals.naming import Names
from etholog.base import files as files_
from etholog.base import notebook
from etholog.base.cache import pays, stamp
from etholog.base.refusal import Finding, Refusal
from etholog.base.text import many
from etholog.base.workspace import SESSIONS, is_folder, root_of
from etholog.ethogram import Ethogram, with_roles
from etholog.season import cache, rows, store, tables
from etholog.season.rows import Rows
from etholog.session import Session

LooksAt = Callable[[Ethogram], Iterable[str]]  # the codes of the behaviours of an ethogram that a measure needs


@dataclass(frozen=True)
class Season:
    """Many sessions as tables; `findings` are what could not be read, or makes no sense.

    `sessions`: one row each. `bouts`: one row a bout, by session, onset and mark, with its behaviour's role. `gaps`:
    spans that nobody watched. Times are seconds since the session began. `ethograms`: by name, each session's as it
    was when it was recorded (of one name, the newest session's).
    """

    folder: Path
    sessions: pd.DataFrame
    bouts: pd.DataFrame
    gaps: pd.DataFrame
    ethograms: dict[str, Ethogram]
    findings: list[Finding] = field(default_factory=list)

    @property
    def faults(self) -> list[str]:
        """The findings as sentences."""
        return [str(finding) for finding in self.findings]

    @property
    def labels(self) -> dict[str, str]:
        """What each behaviour is called, by its code."""
        return {behaviour.code: behaviour.words for kept in self.ethograms.values() for behaviour in kept.behaviour}

    @property
    def stages(self) -> dict[str, str]:
        """The stage of a pairing that each behaviour belongs to, by its code; those of none are left out."""
        every = (behaviour for kept in self.ethograms.values() for behaviour in kept.behaviour)
        return {behaviour.code: behaviour.stage for behaviour in every if behaviour.stage}

    @cached_property
    def animals(self) -> Animals:
        """The cards beside the sessions, and the pairings that both know of; read when first asked for. Raises Refusal
        where there can be none: what was exported by month holds no cards, and no evidence of a transfer."""
        if store.is_store(self.folder):
            raise Refusal(Finding("holds no cards", "name the workspace that it was exported from", self.folder))
        sessions = _sessions_of(self.folder)
        return animals_.read(root_of(sessions), sessions)

    @cached_property
    def cards(self) -> pd.DataFrame:
        """What the cards say, a row an entry: animal, entry, on (as written), first_on, last_on (the days it may mean),
        sure, words, number, note, n, card (whose: another name of the animal's where two cards were joined), sac (of
        which one, where the keeper said so)."""
        rows = [
            (card.id, e.kind, *_dates(e), e.sure, e.words, e.number, e.note, e.n, e.of or card.id, _sac(e))
            for card in self.animals.cards.values()
            for e in card.entries
        ]
        said = ["sure", "words", "number", "note", "n", "card", "sac"]
        columns = ["animal", "entry", "on", "first_on", "last_on", *said]
        table = pd.DataFrame(rows, columns=columns)
        table["first_on"], table["last_on"] = pd.to_datetime(table["first_on"]), pd.to_datetime(table["last_on"])
        return table.astype({"animal": "category", "entry": "category", "sure": bool, "number": float, "n": int})

    def _repr_html_(self) -> str:
        males, females = (len(set(self.sessions[sex]) - {""}) for sex in ("male", "female"))
        counts = ((len(self.sessions), "session"), (males, "male"), (females, "female"), (len(self.bouts), "bout"))
        said = "{} of {} and {}, {}.".format(*(many(count, one) for count, one in counts))
        if self.findings:
            said += f" {many(len(self.findings), 'line or file', 'lines or files')} could not be used: see findings."
        return notebook.html(
            said, self.sessions[["session", "began", "male", "female", "watched_s", "marks", "closed"]]
        )


def _dates(entry: Entry) -> tuple[str, date, date]:
    return entry.on.text, entry.on.first, entry.on.last


def _sac(entry: Entry) -> str:
    return entry.sac.text if entry.sac else ""


def folder_of(path: Path | str) -> Path:
    """Return the folder of sessions meant: the path itself, or its `sessions`. Raises Refusal where there is none."""
    if not isinstance(path, str | Path):
        raise Refusal(f"a folder is needed, not {path!r}"[:100])
    path = Path(path)
    if not is_folder(path):
        raise Refusal(f"{path}: is not a folder; name a folder of sessions, or a workspace that has one")
    return _sessions_of(path)


def _sessions_of(folder: Path) -> Path:
    inner = folder / SESSIONS
    return inner if is_folder(inner) else folder


def read(path: Path | str = ".", cached: bool = True) -> Season:
    """Return the sessions of a folder, or of a workspace that has one, as a Season.

    Parameters
    ----------
    path: the folder; or what `etholog export DIR --by-month` wrote.
    cached: whether a large folder is read again only where it changed (see `etholog.base.cache`).

    Returns
    -------
    Season: `.sessions`, `.bouts`, `.gaps` and more (DataFrames; times in seconds), and `.findings`: what could not
    be read or used, files that are no sessions among it.

    Raises
    ------
    Refusal: for a folder that is not there.

    >>> import etholog
    >>> len(etholog.read("examples/season").sessions)
    28
    """
    return _read(path, cached)


def part(path: Path | str, looks_at: LooksAt) -> Season:
    """Return the season that `read` returns, with the bouts of those behaviours alone that a measure looks at.

    Of ten thousand sessions the table of all bouts takes more memory than all else.
    """
    return _read(path, True, looks_at)


def _read(path: Path | str, cached: bool, looks_at: LooksAt | None = None) -> Season:
    if isinstance(path, str | Path) and store.is_store(Path(path)):
        return of_rows(Path(path), store.read(store.opened(Path(path))), looks_at)
    folder = folder_of(path)
    files, odd = files_.listed(folder)
    if not cached or not pays(files):
        found, findings = _gathered(folder, files)
        return _season(folder, _in_order(found), [*odd, *findings], looks_at=looks_at)
    stamps = {name: stamp(seen) for name, seen in files.items()}
    known, whole = cache.load(folder, stamps)
    fresh, findings = _gathered(folder, sorted(files.keys() - set(known.said["name"])))
    found = _in_order(rows.join(known, fresh) if fresh else known)
    if fresh or not whole:
        cache.save(folder, stamps, found)
    return _season(folder, found, [*odd, *findings], looks_at=looks_at)


def _gathered(folder: Path, names: Iterable[str]) -> tuple[Rows, list[Finding]]:
    """Return the rows of these files, in their order, and what could not be read; never more than one is held."""
    unread: list[Finding] = []

    def sessions() -> Iterator[Session]:
        for name in names:
            try:
                yield session.read(folder / name)
            except Refusal as refusal:
                unread.extend(refusal.findings)

    return rows.gather(sessions()), unread


def sessions_in(folder: Path, called: Names | None = None) -> tuple[list[Session], list[Finding]]:
    """Return the sessions of a folder, in the order of their files' names, and what could not be read. `called`: what
    the animals are called now, where that was read already."""
    found: list[Session] = []
    names, unread = files_.listed(folder)
    called = called or naming.names(root_of(folder))
    for name in names:
        try:
            found.append(naming.under(session.read(folder / name), called))
        except Refusal as refusal:
            unread += refusal.findings
    return found, unread


def of(folder: Path, found: Iterable[Session], findings: Iterable[Finding] = (), called: Names | None = None) -> Season:
    """Put sessions into tables. A session that comes twice counts once, as its fullest file has it; so does one with a
    second observer's record; one that was begun by mistake counts for nothing. `called`: as for `sessions_in`."""
    return _season(folder, _in_order(rows.gather(found)), findings, called)


def of_rows(folder: Path, found: Rows, looks_at: LooksAt | None = None) -> Season:
    """Put rows into tables, as `of` does sessions; `looks_at`: as for `part`."""
    return _season(folder, _in_order(found), [], looks_at=looks_at)


def _in_order(found: Rows) -> Rows:
    began, ids = found.counted["began_us"].tolist(), found.said["id"]
    return rows.take(found, sorted(range(len(found)), key=lambda at: (began[at], ids[at])))


def _season(
    folder: Path,
    found: Rows,
    findings: Iterable[Finding],
    called: Names | None = None,
    looks_at: LooksAt | None = None,
) -> Season:
    told = list(findings)
    names = found.said["name"]
    copies = rows.copies(found)
    kept = session.fullest(copies)
    for at, (name, id_, own) in enumerate(zip(names, found.said["id"], found.said["findings"], strict=True)):
        told += [Finding(what, remedy, folder / name, line, record) for what, remedy, line, record in own]
        if kept[id_] != at:
            told.append(session.again(folder / name, id_, names[kept[id_]]))
    firsts = rows.take(found, session.counted_once(copies))
    # The cache keeps an ethogram as it was recorded, without the roles that the workspace's own was given since.
    called = called or naming.names(root_of(folder))
    if called.now:
        said = {who: [called.of(name) for name in firsts.said[who]] for who in ("male", "female")}
        firsts = replace(firsts, said=firsts.said | said)
    if not all(firsts.said["species"]):
        firsts = replace(firsts, said=firsts.said | {"species": _species(called, firsts)})
    firsts = replace(firsts, ethograms=[with_roles(one, folder.absolute()) for one in firsts.ethograms])
    if looks_at:
        firsts = rows.only(firsts, [set(looks_at(one)) for one in firsts.ethograms])
    ethograms = [firsts.ethograms[at] for at in dict.fromkeys(firsts.counted["ethogram"].tolist())]
    return Season(folder, *tables.of(firsts), {one.name: one for one in ethograms}, told)


def _species(called: Names, found: Rows) -> list[str]:
    """Return each session's species; where nobody said it, that on her card, or on his."""
    names = {name for who in ("female", "male") for name in found.said[who] if name}
    known = {name: card.species for name in names if (card := called.card(name))}
    return rows.species(found.said, known)
