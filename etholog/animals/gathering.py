"""Several keepers' workspaces as one: each line once, whose it was beside it, nothing dropped and nothing overwritten.

The sources are left as they are. A gathered card is a journal of its own whose lines name their source; a gathered
session is its source's journal with the names that its animals have here. `gathered.jsonl` keeps what each animal and
session of each source is called here, so that gathering again takes in only what is new.
"""

import re
import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any, Literal

from pydantic import ConfigDict, TypeAdapter, ValidationError, with_config
from typing_extensions import TypedDict

from etholog.animals import card as card_
from etholog.animals import veil as veil_
from etholog.animals.card import NAMING
from etholog.animals.lines import lines
from etholog.animals.pedigree import NOBODY
from etholog.animals.sources import GATHERED, Source, SourceCard, SourceSession
from etholog.animals.veil import Veil
from etholog.base import files, journal
from etholog.base.atomic import replacing
from etholog.base.journal import Draft, Journal
from etholog.base.refusal import Finding, Refusal
from etholog.session.record import Name, Number, Word

FORMAT = "etholog-gathered/1"
OTHER_COPIES = "other-copies"
PATIENCE_S = 10.0  # how long a disk may take
_WEIGHT = re.compile(r"(.+?)(\s*:\s*\d+(?:\.\d+)?)", re.ASCII)
# What of a line may be veiled, or called otherwise here, and so does not tell whether two lines are one.
_PROSE = ("text", "outcome", "clips", "why")


@dataclass
class Gathering:
    """What a gathering took in: how much, what is called otherwise than at its keeper's, and what is wrong."""

    cards: int = 0
    entries: int = 0
    sessions: int = 0
    lines: int = 0
    called: list[tuple[str, str, str]] = field(default_factory=list)
    """(source, its name there, its name here) of the animals whose name another has here."""
    findings: list[Finding] = field(default_factory=list)


@with_config(ConfigDict(extra="forbid", strict=True))
class _Called(TypedDict):
    """What an animal (or a session) of `owner` that is called `name` there is called here."""

    n: Number
    do: Literal["animal", "session"]
    owner: Word
    name: Name
    here: Name
    by: Word


@cache  # built when first read by: most commands import this and read no such journal
def _called() -> TypeAdapter[_Called]:
    return TypeAdapter(_Called)


class _Names:
    """What each animal and session is called here, kept in a journal."""

    def __init__(self, target: Path) -> None:
        path = target / GATHERED
        fresh = not path.exists()
        if fresh and target.exists() and any(target.iterdir()):
            raise Refusal(f"{target}: is there already and no gathering made it; name a folder that is not there")
        target.mkdir(parents=True, exist_ok=True)
        self.book = Journal.create(path, {"format": FORMAT}) if fresh else Journal.open(path)[0]
        self._here: dict[tuple[str, str, str], str] = {}
        self._known_by = set[tuple[str, str, str, str]]()
        self._taken: dict[tuple[str, str], str] = {}
        for told in _all_called(path):
            self._here[told["do"], told["owner"], told["name"]] = told["here"]
            self._known_by.add((told["do"], told["owner"], told["name"], told["by"]))
            self._taken[told["do"], told["here"].casefold()] = told["here"]
        for folder, do in (("animals", "animal"), ("sessions", "session")):
            for name in files.listed(target / folder, ".jsonl")[0] if (target / folder).is_dir() else ():
                self._taken.setdefault((do, Path(name).stem.casefold()), Path(name).stem)

    def of(self, do: Literal["animal", "session"], owners: Sequence[str], name: str, by: str) -> str:
        """Return what `name` of the first of `owners` is called here; a new one is kept. An animal that was named
        before it had a card is the one of the card, so further owners may know the name."""
        owner = owners[0]
        known = next((self._here[do, one, name] for one in owners if (do, one, name) in self._here), None)
        here = known or name
        count = 1
        while known is None and (do, here.casefold()) in self._taken:
            count += 1
            here = f"{name} ({by})" if count == 2 else f"{name} ({by} {count - 1})"
        if (do, owner, name, by) not in self._known_by:
            self._known_by.add((do, owner, name, by))
            self._here[do, owner, name] = here
            self._taken[do, here.casefold()] = here
            self.book.append(Draft({"do": do, "owner": owner, "name": name, "here": here, "by": by}))
        return here

    def settle(self) -> None:
        """Wait until the names are on the disk, before anything is written by which they are called so: whoever gathers
        again after a full disk or a power cut would take those for others' names. Raises Refusal where they are not."""
        while not self.book.trouble and not self.book.is_safe(self.book.n - 1) and self.book.waiting_s < PATIENCE_S:
            time.sleep(0.001)
        if self.book.trouble or not self.book.is_safe(self.book.n - 1):
            raise Refusal(f"{self.book.unsaved}; gather again")


def _all_called(path: Path) -> Iterator[_Called]:
    for body in journal.read(path).bodies[1:]:
        try:
            yield _called().validate_json(body + b"}")
        except ValidationError:
            where = Finding("can't be read", "put back a copy of it", path, record=journal.number(body))
            raise Refusal(where) from None


def known_by(target: Path) -> dict[str, set[str]]:
    """Return which sources know each animal of a gathering, by what it was called here."""
    found: dict[str, set[str]] = {}
    for told in _all_called(target / GATHERED):
        if told["do"] == "animal":
            found.setdefault(told["here"], set()).add(told["by"])
    return found


def gather(target: Path, sources: Sequence[Source], places: bool = False, people: bool = False) -> Gathering:
    """Take into `target` what is new in the sources, and return what that was.

    Parameters
    ----------
    target: a folder that is not there yet, or an earlier gathering.
    places, people: take in places and people's names too.

    Raises
    ------
    Refusal where the target is no gathering, or can't be written.
    """
    names = _Names(target)
    found = Gathering()
    try:
        # Those that have a card keep their names before those that are only spoken of.
        for source in sources:
            for one in source.cards:
                for name in one.names:
                    _animal(names, source, name, found)
        names.settle()
        for source in sources:
            veil = Veil.over(source, not places, not people)
            found.findings += source.findings
            _take_cards(target, names, source, veil, found)
            _take_sessions(target, names, source, veil, found)
    finally:
        safe = names.book.close()
    if not safe:
        raise Refusal(f"{names.book.unsaved}; gather again")
    return found


def _animal(names: _Names, source: Source, name: str, found: Gathering) -> str:
    """Return what an animal of a source is called here."""
    if not name:
        return name
    owner = source.owner_of.get(name)
    owners = [owner, source.label] if owner else [source.label]
    here = names.of("animal", owners, name, source.label)
    if here != name and (said := (source.label, name, here)) not in found.called:
        found.called.append(said)
    return here


def _take_cards(target: Path, names: _Names, source: Source, veil: Veil, found: Gathering) -> None:
    folder = target / "animals"
    folder.mkdir(exist_ok=True)
    there: dict[str, Path] = {}
    for name in files.listed(folder, ".jsonl")[0]:
        try:
            told = lines(folder / name)
        except Refusal as refusal:
            found.findings += refusal.findings
            continue
        if told.header["format"] == card_.GATHERED:
            there[told.identity] = folder / name
    for one in source.cards:
        try:
            there[one.identity] = _take_card(folder, there.get(one.identity), names, source, one, veil, found)
        except Refusal as refusal:
            found.findings += [what._replace(path=what.path or one.path) for what in refusal.findings]


def _take_card(
    folder: Path, path: Path | None, names: _Names, source: Source, one: SourceCard, veil: Veil, found: Gathering
) -> Path:
    """Take a card's new lines into the file that is its animal's here (None: there is none yet), and return that."""
    before: list[Any] = []
    if path is None:
        here = _animal(names, source, one.names[0], found)
        path = folder / card_.file_name(here)
        if path.exists():  # a person's own card, such as one that joins two names
            here = names.of("animal", [one.identity + "/card"], one.names[0], source.label)
            path = folder / card_.file_name(here)
        names.settle()
        book = Journal.create(path, {"format": card_.GATHERED, "id": here, "animal": one.identity})
        found.cards += 1
    else:
        before = lines(path).records
        book = Journal.open(path)[0]
    try:
        drafts = list(_new_lines(source, one, before, book.n, names, veil, found))
        names.settle()
        for draft in drafts:
            book.append(Draft(draft))
            found.entries += 1
    finally:
        safe = book.close()
    if not safe:
        raise Refusal(f"{book.unsaved}; gather again when there is room")
    return path


def _new_lines(
    source: Source, one: SourceCard, before: Sequence[Mapping[str, Any]], n: int, names: _Names, veil: Veil,
    found: Gathering,
) -> Iterator[dict[str, Any]]:  # fmt: skip
    """Yield the lines of a source's card that are not on the gathered one, the first of them with the number `n`; what
    they tell of is meant by its number here."""
    at: dict[int, int] = {}
    others = {_key(record, record["at"]): record["n"] for record in before if "at" in record}
    told = Counter(_key(record, None) for record in before if record.get("by") == source.label)
    for record in one.records:
        draft: dict[str, Any] = {"do": record["do"]} | {k: v for k, v in record.items() if k != "n"}
        if "of" in record:
            if record["of"] not in at:
                continue  # what it takes back could not be read, and is not here
            draft["of"] = at[record["of"]]
        if "words" in record:
            draft["words"] = _words(record["do"], record["words"], source, names, veil, found)
        if "note" in record:
            draft["note"] = veil.prose(record["note"])
        draft = {name: value for name, value in draft.items() if value != "" or name == "on"}
        if source.table:
            if told[_key(draft, None)]:
                told[_key(draft, None)] -= 1
                continue
        elif (same := others.get(_key(draft, record["n"]))) is not None:
            at[record["n"]] = same  # it was taken in, or a copy of the card has that line as well
            continue
        at[record["n"]], n = n, n + 1
        yield {**draft, "by": source.label, "at": record["n"]}


def _key(record: Mapping[str, Any], n: int | None) -> tuple[Any, ...]:
    """Return what tells a line of a card from the others of it, whatever names and places were left out."""
    kind = record["do"]
    apart = veil_.NAMED if n is None else (*veil_.NAMED, *veil_.WRITTEN, *NAMING)
    words = "" if kind in apart else record.get("words", "")
    of = record.get("of") if n is None else None
    return n, kind, record.get("on"), record.get("sure"), record.get("number"), record.get("told"), words, of


def _words(kind: str, words: str, source: Source, names: _Names, veil: Veil, found: Gathering) -> str:
    words, sac = card_.said_of_sac(kind, words)
    if sac:
        return f"{_words(kind, words, source, names, veil, found)} of {sac}".strip()
    if kind not in NAMING:
        return veil.words(kind, words)
    if kind not in ("dam", "sire") or words in source.owner_of:
        return _animal(names, source, words, found)
    parts = []
    for part in words.split(" or "):
        weighed = _WEIGHT.fullmatch(part.strip())
        name, weight = (weighed[1], weighed[2]) if weighed else (part.strip(), "")
        known = not name or name.lower() in NOBODY
        parts.append((name if known else _animal(names, source, name, found)) + weight)
    return " or ".join(parts)


def _take_sessions(target: Path, names: _Names, source: Source, veil: Veil, found: Gathering) -> None:
    folder = target / "sessions"
    folder.mkdir(exist_ok=True)
    identities = {str(one.header["id"]): one.identity for one in source.sessions}
    for one in sorted(source.sessions, key=lambda one: len(one.bodies), reverse=True):  # of copies the fullest first
        try:
            _take_session(folder, identities, names, source, one, veil, found)
        except Refusal as refusal:
            found.findings += [what._replace(path=what.path or one.path) for what in refusal.findings]


def _take_session(
    folder: Path, identities: Mapping[str, str], names: _Names, source: Source, one: SourceSession, veil: Veil,
    found: Gathering,
) -> None:  # fmt: skip
    here = names.of("session", [one.identity], str(one.header["id"]), source.label)
    path = folder / card_.file_name(here)
    if path.exists():
        before = journal.read(path).bodies[1:]
        after = [_veiled(body, veil) for body in one.bodies]
        shared = sum(1 for _ in _while_same(before, after))
        if shared == len(after):
            return
        if shared == len(before):
            book = Journal.open(path)[0]
            try:
                book.take_in(after[shared:])
            except ValueError:
                raise Refusal(Finding("lines of it are lost", "mend the source, and gather again", one.path)) from None
            finally:
                safe = book.close()
            if not safe:
                raise Refusal(f"{book.unsaved}; gather again when there is room")
            found.lines += len(after) - shared
            return
        what = f"goes on otherwise than {path} from line {shared + 2} on"
        path = _room_for(after, folder.parent / OTHER_COPIES / source.label / path.name)
        found.findings.append(Finding(what, f"this copy is kept as {path}; look which is right", one.path))
    else:
        found.sessions += 1
    header = dict(one.header)
    header["id"] = here
    for sex in ("male", "female"):
        header[sex] = _animal(names, source, str(header[sex]), found)
    if veil.places:
        header["place"] = ""
    if veil.people and header["observer"]:
        header["observer"] = source.label
    if (other := header.get("record_of")) in identities:
        header["record_of"] = names.of("session", [identities[str(other)]], str(other), source.label)
    names.settle()
    lines = [journal.encode(header), *(journal.sealed(_veiled(body, veil)) for body in one.bodies)]
    with replacing(path) as file:
        file.write(b"".join(lines))


def _room_for(after: Sequence[bytes], path: Path) -> Path:
    """Return where these lines of a session may go and overwrite none: `path`, or that with a number."""
    path.parent.mkdir(parents=True, exist_ok=True)
    count, free = 1, path
    while free.exists():
        before = journal.read(free).bodies[1:]
        if sum(1 for _ in _while_same(before, after)) == len(before):
            return free
        count += 1
        free = path.with_stem(f"{path.stem} ({count})")
    return free


def _veiled(body: bytes, veil: Veil) -> bytes:
    """Return a line of a session without places and people's names."""
    if (not veil.names and not veil.people) or not any(b'"%s":' % name.encode() in body for name in _PROSE):
        return body
    record = journal.decoded(body)
    for name in ("text", "why"):
        if name in record:
            record[name] = veil.prose(record[name])
    if "outcome" in record:
        record["outcome"] = veil.answers(record["outcome"])
    for clip in record.get("clips", ()):
        if veil.people:  # a path may name its owner
            clip["file"] = re.split(r"[\\/]", clip["file"])[-1]
    return journal.encode(record)[:-1].rpartition(b',"crc"')[0]


def _while_same(before: Sequence[bytes], after: Sequence[bytes]) -> Iterator[bytes]:
    for old, new in zip(before, after, strict=False):
        if old != new and _bare(old) != _bare(new):
            return
        yield old


def _bare(body: bytes) -> dict[str, Any]:
    return {name: value for name, value in journal.decoded(body).items() if name not in _PROSE}
