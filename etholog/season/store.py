"""A season as Parquet for an engine: in parts by month, written in constant memory, only what changed anew; and back.

Each part holds whole sessions, so what is asked of every session by itself can be asked part by part, on as many
processors or machines as there are. `season.json` says which parts count: it is replaced last, so whatever breaks a
writing off leaves the season as it was.
"""

import json
import os
import secrets
import shutil
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from etholog import ethogram as ethograms_
from etholog import session
from etholog.animals import naming
from etholog.base import files, system
from etholog.base.atomic import replacing
from etholog.base.cache import Stamp, code, stamp
from etholog.base.library import needed
from etholog.base.refusal import Finding, Refusal
from etholog.base.workspace import root_of
from etholog.ethogram import Ethogram, from_plain, with_roles
from etholog.season import rows
from etholog.season.rows import Rows
from etholog.session import Session, closing
from etholog.session import folding as fold

if TYPE_CHECKING:
    import pyarrow
    from pyarrow import parquet

NAME, FORMAT = "season.json", "etholog-season/1"
_BESIDE = f".{NAME}."  # how the names begin of the lock, and of a list that a kill left half written
TABLES = ("sessions", "bouts", "gaps")
PART_ROWS = 10**6  # bouts: what one file holds at most, unless one session has more
BATCH_ROWS = 10**5  # bouts held in memory at once; a row group of the file

_MS = {"onset_ms", "offset_ms", "length_ms", "unwatched_ms", "hidden_ms"}
_WORDS = ("name", "id", "male", "female", "species", "observer", "place", "source", "record_of")
_JSON = ("conditions", "outcome", "findings")


@dataclass(frozen=True)
class Store:
    """What `season.json` says: the parts by month, each a name, and what all sessions share."""

    folder: Path
    months: dict[str, list[str]]
    ethograms: list[Ethogram]
    names: dict[str, str] = field(default_factory=dict)
    species: dict[str, str] = field(default_factory=dict)
    following: int = 0  # the number that the next session gets
    program: str = ""  # a digest of the code that read the sessions

    def files(self, table: str) -> list[Path]:
        """Return the files of a table: sessions, bouts or gaps; part by part, so that each lies at one place in all."""
        return [self.folder / table / f"month={month}" / part for month, parts in self.months.items() for part in parts]


def is_store(folder: Path) -> bool:
    """Tell whether a folder holds a season that was written here."""
    try:
        return (folder / NAME).is_file() and not (folder / NAME).is_symlink()
    except (OSError, ValueError):  # a name that no folder can have
        return False


def opened(folder: Path) -> Store:
    """Return the season that was written into a folder. Raises Refusal where there is none, or a newer format."""
    from etholog.season import contents

    needed("pyarrow", "Parquet")
    path = folder / NAME
    if not is_store(folder):
        raise Refusal(f"{folder}: is no season for an engine; write one: etholog export DIR --by-month")
    told = contents.read(path)
    if told.format != FORMAT:
        raise Refusal(Finding(f"is of another format ({told.format!r})", f"this version reads {FORMAT}", path))
    kept = [one.told(told.roles.get(one.hash, {})) for one in map(from_plain, told.ethograms)]
    return Store(folder, told.months, kept, told.names, told.species, told.following, told.program)


def write(folder: Path, to: Path, part_rows: int = PART_ROWS) -> tuple[list[str], list[Finding]]:
    """Write the sessions of a folder into the season in `to`; return the months that were written, and what could not
    be read. Months in which no session changed stay as they are. A part holds at most `part_rows` bouts, unless one
    session has more.

    Raises Refusal where `to` holds something else, can't be written, or no session is there.
    """
    needed("pyarrow", "Parquet")
    with _alone(to):
        return _written(folder, to, part_rows)


def read(store: Store) -> Rows:
    """Return all sessions of a season with their bouts and gaps, as they were read from their files."""
    return rows_of(store, store.files("bouts"), store.files("gaps"))


def part(store: Store, at: int, left_out: Collection[int] = ()) -> Rows:
    """Return the sessions of one part, but for those of these numbers."""
    sessions, bouts, gaps = (store.files(table)[at] for table in TABLES)
    found = rows_of(store, [bouts], [gaps], [sessions])
    numbers = _table([sessions], ["session"])["session"].to_pylist()
    return rows.take(found, [place for place, number in enumerate(numbers) if number not in left_out])


def left_out(store: Store) -> frozenset[int]:
    """Return the numbers of the sessions that count for nothing: begun by mistake, there twice, or a second observer's
    record."""
    order, more = ["began", "id", "session"], ["record_of", "records", "outcome"]
    told = _table(store.files("sessions"), [*order, *more]).sort_by([(name, "ascending") for name in order])
    ids, numbers, of, records, outcomes = (told[name].to_pylist() for name in [*order[1:], *more])
    is_accident = cache(lambda text: closing.is_accident(json.loads(text)))  # most answers are alike
    accident = map(is_accident, outcomes)
    counted = session.counted_once(map(session.Copy, ids, of, records, accident))
    return frozenset(numbers) - {numbers[at] for at in counted}


def names_said(store: Store, left_out: Collection[int]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return of which conditions, and of which outcomes, any session tells, but for those of these numbers."""
    told = _table(store.files("sessions"), ["session", "conditions", "outcome"])
    numbers = told["session"].to_pylist()

    def names(column: str) -> tuple[str, ...]:
        each = zip(numbers, told[column].to_pylist(), strict=True)
        texts = dict.fromkeys(text for number, text in each if number not in left_out)  # most are alike
        return tuple(dict.fromkeys(name for text in texts for name in json.loads(text)))

    return names("conditions"), names("outcome")


def rows_of(
    store: Store, bouts: "Sequence[Path] | pyarrow.Table", gaps: Sequence[Path], sessions: Sequence[Path] | None = None
) -> Rows:
    """Return sessions (all, or those of these files) with these bouts and gaps, which may be fewer than they had.

    They are files, or a table with the columns of one, in which the rows of a session stand together, in their order.
    """
    import pyarrow as arrow

    told = _table(store.files("sessions") if sessions is None else sessions)
    held = bouts if isinstance(bouts, arrow.Table) else _table(bouts, of="bouts")
    spans = _table(gaps, of="gaps")
    number = told["session"].to_numpy()
    held, bouts_each = _by_session(number, held)
    spans, gaps_each = _by_session(number, spans)
    hashes = [one.hash for one in store.ethograms]
    words, codes = _codes(told["ethogram"])
    place = np.array([hashes.index(word) for word in words], dtype=np.int64)[codes]
    counted: rows.Numbers = {
        "began_us": told["began"].cast(arrow.int64()).to_numpy(),
        "utc_offset_min": told["utc_offset_min"].to_numpy(),
        "ethogram": place,
        "end": told["length_ms"].to_numpy(),
        "unwatched": told["unwatched_ms"].to_numpy(),
        "hidden": told["hidden_ms"].to_numpy(),
        "marks": told["marks"].to_numpy(),
        "closed": told["closed"].to_numpy(),
        "records": told["records"].to_numpy(),
        "bouts": bouts_each,
        "gaps": gaps_each,
    }
    said: dict[str, list[Any]] = {name: told[name].to_pylist() for name in _WORDS}
    read = cache(json.loads)  # most sessions say the same, and nobody changes what was said
    said |= {name: [read(text) for text in told[name].to_pylist()] for name in _JSON}
    for who in ("male", "female"):
        said[who] = [store.names.get(name, name) for name in said[who]]
    said["species"] = rows.species(said, store.species)
    behaviours, behaviour = _codes(held["behaviour"])
    qualifiers, qualifier = _codes(held["qualifier"])
    whys, why = _codes(spans["why"])
    return Rows(
        said,
        counted,
        store.ethograms,
        behaviours,
        qualifiers,
        whys,
        {
            "code": behaviour,
            "qualifier": qualifier,
            "onset": held["onset_ms"].to_numpy(),
            "offset": held["offset_ms"].to_numpy(),
            "whole": held["whole"].to_numpy(),
            "sure": held["confident"].to_numpy(),
            "n": held["n"].to_numpy(),
        },
        {"onset": spans["onset_ms"].to_numpy(), "offset": spans["offset_ms"].to_numpy(), "why": why},
    )


# ---------------------------------------------------------------- what was there


def _written(folder: Path, to: Path, part_rows: int) -> tuple[list[str], list[Finding]]:
    names, unread = files.listed(folder)
    stamps = {name: stamp(seen) for name, seen in names.items()}
    program = code([ethograms_, fold, rows, session]).hex()
    before, known = _before(to, program, folder)
    months: dict[str, list[tuple[int, str, str]]] = {}  # of each: (began, id, name)
    changed = {known[name][0] for name in known.keys() - stamps.keys()}
    for name, seen in stamps.items():
        if name in known and known[name][3] == seen:
            month, began, id_, _ = known[name]
        else:
            try:
                header = session.header(folder / name)
            except Refusal as refusal:
                unread += refusal.findings
                if name in known:
                    changed.add(known[name][0])
                continue
            month, began, id_ = f"{header['began']:%Y-%m}", rows.microseconds(header["began"]), header["id"]
            changed |= {month} | ({known[name][0]} if name in known else set())
        months.setdefault(month, []).append((began, id_, name))
    if not months:
        raise Refusal(f"{folder}: no session to write; cards alone are exported without --by-month")
    following, parts, told = before.following, dict(before.months), {one.hash: one for one in before.ethograms}
    with _undone_if_broken_off(to):
        if not is_store(to):
            _keep(before)  # a season of nothing: so the next writing knows the folder, whatever ends this one
        for month in sorted(changed):
            order = [name for _, _, name in sorted(months.get(month, ()))]
            batches = _batches(folder, order, min(part_rows, BATCH_ROWS), unread)
            parts[month], following = _month(to, month, batches, stamps, following, told, part_rows)
            _settle(to, month, parts[month])
        parts = {month: parts[month] for month in sorted(parts) if parts[month]}
        called = naming.names(root_of(folder))
        _keep(Store(to, parts, list(told.values()), dict(called.now),
                    _species(called, to, parts), following, program))  # fmt: skip
        system.sync_folder(to)  # before what the list named until now goes
    _clear(to)
    return sorted(changed & parts.keys()), unread


def _before(to: Path, program: str, folder: Path) -> tuple[Store, dict[str, tuple[str, int, str, Stamp]]]:
    """Return the season that is there, and of each of its files (month, began, id, stamp); nothing where another
    program wrote it: what that one read, it may have read otherwise; nor where an ethogram's roles are others now."""
    empty = Store(to, {}, [])
    if not is_store(to):
        return empty, {}
    store = opened(to)
    now = [with_roles(one.told({}), folder.absolute()) for one in store.ethograms]
    if store.program != program or [one.role_of for one in now] != [one.role_of for one in store.ethograms]:
        return Store(to, {}, [], following=store.following), {}
    known = {}
    for path in store.files("sessions"):
        table = _table([path], ["name", "began", "id", "stamp"])
        month = path.parent.name.removeprefix("month=")
        columns = (table["name"].to_pylist(), table["began"].cast("int64").to_pylist(),
                   table["id"].to_pylist(), table["stamp"].to_pylist())  # fmt: skip
        for name, began, id_, seen in zip(*columns, strict=True):
            known[name] = (month, began, id_, seen)
    return store, known


def _species(called: naming.Names, to: Path, parts: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """Return the species of each animal that a session says none of, from its card."""
    found: dict[str, str] = {}
    store = Store(to, {month: list(each) for month, each in parts.items()}, [])
    for path in store.files("sessions"):
        table = _table([path], ["male", "female", "species"]).to_pydict()
        for male, female, species in zip(*table.values(), strict=True):
            for name in () if species else (called.of(female), called.of(male)):
                if name and name not in found and (card := called.card(name)):
                    found[name] = card.species or ""
    return {name: species for name, species in found.items() if species}


def _keep(store: Store) -> None:
    told = {"format": FORMAT, "program": store.program, "following": store.following, "months": store.months}
    told |= {"names": store.names, "species": store.species, "ethograms": [one.plain() for one in store.ethograms]}
    told |= {"roles": {one.hash: one.role_of for one in store.ethograms}}
    with replacing(store.folder / NAME) as file:
        file.write(json.dumps(told, ensure_ascii=False, indent=1).encode() + b"\n")


@contextmanager
def _undone_if_broken_off(to: Path) -> Iterator[None]:
    """Remove what a writing that fails has begun: on a full disk it would take the room that the next one needs."""
    try:
        yield
    except BaseException as error:
        with suppress(OSError, Refusal):
            _clear(to)
        if isinstance(error, OSError):
            raise _not_written(to, error) from error
        raise


@contextmanager
def _alone(to: Path) -> Iterator[None]:
    """Hold a folder for this writing alone: parts that another one has just begun look like parts that no longer
    count. A folder that this writing made is removed where it fails."""
    new = not to.exists()
    if not new and not is_store(to) and not (to.is_dir() and all(one.name.startswith(_BESIDE) for one in to.iterdir())):
        raise Refusal(f"{to}: holds something else than a season for an engine; name a folder that is not there")
    try:
        to.mkdir(parents=True, exist_ok=True)
        held = (to / f"{_BESIDE}lock").open("ab")
    except OSError as error:
        raise _not_written(to, error) from error
    with held:
        if not system.lock(held.fileno()):
            raise Refusal(f"{to}: another export is writing into it; wait until that one is done")
        try:
            yield
        except BaseException:
            if new:
                shutil.rmtree(to, ignore_errors=True)
            raise


def _not_written(to: Path, error: OSError) -> Refusal:
    what = os.strerror(error.errno) if error.errno else error  # pyarrow's own words are not for keepers
    return Refusal(f"{to}: can't be written ({what}), nothing was changed; {files.remedy(error)}")


def _clear(to: Path) -> None:
    """Remove the parts that no longer count."""
    parts = opened(to).months
    for left in to.glob(f"{_BESIDE}*.part"):  # by a kill
        left.unlink()
    for table in TABLES:
        for path in (to / table).glob("month=*/*.parquet"):
            if path.name not in parts.get(path.parent.name.removeprefix("month="), ()):
                path.unlink()
        for month in (to / table).glob("month=*"):
            with suppress(OSError):
                month.rmdir()  # where nothing is left in it


# ---------------------------------------------------------------- a month


def _month(
    to: Path, month: str, batches: Iterable[Rows], stamps: Mapping[str, Stamp], following: int,
    told: dict[str, Ethogram], part_rows: int,
) -> tuple[list[str], int]:  # fmt: skip
    """Write the sessions of one month; return its parts, and the number that the next session gets. Ethograms that
    are new are added to `told`."""
    written: list[str] = []
    held = 0
    with ExitStack() as part:
        writers: dict[str, parquet.ParquetWriter] = {}
        for found in batches:
            told |= {one.hash: one for one in found.ethograms}
            size = len(found.bouts["n"])
            if not writers or held + size > part_rows:
                part.close()
                written.append(f"part-{secrets.token_hex(6)}.parquet")
                writers = {t: part.enter_context(_writer(to / t / f"month={month}" / written[-1], t)) for t in TABLES}
                held = 0
            held += size
            numbers = np.arange(following, following + len(found), dtype=np.int64)
            following += len(found)
            for table, columns in _columns(found, numbers, stamps).items():
                writers[table].write_table(columns)
    return written, following


def _settle(to: Path, month: str, parts: Iterable[str]) -> None:
    """Wait until the parts of a month are on the disk, so that no power cut leaves a list of what is not there."""
    folders = [to / table / f"month={month}" for table in TABLES]
    for part in parts:
        for folder in folders:
            with (folder / part).open("rb+") as file:
                system.sync(file.fileno())
    for folder in filter(Path.exists, (*folders, *(to / table for table in TABLES), to)):
        system.sync_folder(folder)


def _batches(folder: Path, names: Iterable[str], most: int, unread: list[Finding]) -> Iterator[Rows]:
    """Yield the sessions of these files, so many at once that memory holds them."""
    held: list[Session] = []
    size = 0
    for name in names:
        try:
            one = session.read(folder / name)
        except Refusal as refusal:
            unread += refusal.findings
            continue
        if held and size + len(one.fold.bouts) > most:
            yield rows.gather(held)
            held, size = [], 0
        held.append(one)
        size += len(one.fold.bouts)
    if held:
        yield rows.gather(held)


def _columns(found: Rows, numbers: Any, stamps: Mapping[str, Stamp]) -> "dict[str, pyarrow.Table]":
    import pyarrow as arrow

    said, counted, bouts, gaps = found.said, found.counted, found.bouts, found.gaps
    kinds = [{b.code: b for b in kept.behaviour} for kept in found.ethograms]
    of = np.repeat(counted["ethogram"], counted["bouts"])
    pairs, place = np.unique(np.stack([of, bouts["code"]]), axis=1, return_inverse=True)
    acts = [kinds[kept][found.codes[at]] for kept, at in pairs.T.tolist()]
    roles = [found.ethograms[kept].role_of.get(found.codes[at]) for kept, at in pairs.T.tolist()]

    def words(numbers_: Any, known: Sequence[str]) -> Any:
        mask = numbers_ < 0
        return arrow.DictionaryArray.from_arrays(
            arrow.array(numbers_.astype(np.int32), mask=mask), arrow.array(known, arrow.string())
        )

    def spread(each: Sequence[str | None]) -> Any:
        known = rows.Codes()
        number = np.array([-1 if one is None else known[one] for one in each], dtype=np.int32)
        return words(number[place.ravel()], list(known))

    sessions: dict[str, Any] = {"session": numbers, **{name: said[name] for name in _WORDS}}
    sessions |= {
        "began": arrow.array(counted["began_us"]).cast(arrow.timestamp("us", tz="UTC")),
        "utc_offset_min": counted["utc_offset_min"],
        "ethogram": [found.ethograms[at].hash for at in counted["ethogram"].tolist()],
        "length_ms": counted["end"],
        "unwatched_ms": counted["unwatched"],
        "hidden_ms": counted["hidden"],
        "marks": counted["marks"],
        "closed": counted["closed"].astype(bool),
        "records": counted["records"],
        "stamp": [stamps[name] for name in said["name"]],
    }
    sessions |= {name: [json.dumps(value) for value in said[name]] for name in _JSON}
    return {
        "sessions": arrow.table(sessions, schema=_schema("sessions")),
        "bouts": arrow.table(
            {
                "session": np.repeat(numbers, counted["bouts"]),
                "behaviour": spread([act.code for act in acts]),
                "actor": spread([act.actor for act in acts]),
                "kind": spread([act.kind for act in acts]),
                "role": spread(roles),
                "hides": arrow.array(np.array([act.hides for act in acts], dtype=bool)[place.ravel()]),
                "qualifier": words(bouts["qualifier"], found.qualifiers),
                "onset_ms": bouts["onset"],
                "offset_ms": bouts["offset"],
                "whole": bouts["whole"],
                "confident": bouts["sure"],
                "n": bouts["n"],
            },
            schema=_schema("bouts"),
        ),
        "gaps": arrow.table(
            {
                "session": np.repeat(numbers, counted["gaps"]),
                "onset_ms": gaps["onset"],
                "offset_ms": gaps["offset"],
                "why": words(gaps["why"], found.whys),
            },
            schema=_schema("gaps"),
        ),
    }


def _schema(table: str, columns: Sequence[str] | None = None) -> "pyarrow.Schema":
    import pyarrow as arrow

    word = arrow.dictionary(arrow.int32(), arrow.string())
    whole = dict.fromkeys(("session", "n", "marks", "records", "utc_offset_min", *_MS), arrow.int64())
    plain = dict.fromkeys((*_WORDS, *_JSON, "ethogram"), arrow.string())
    kinds = {**whole, **plain, **dict.fromkeys(("behaviour", "actor", "kind", "role", "qualifier", "why"), word)}
    kinds |= dict.fromkeys(("hides", "whole", "confident", "closed"), arrow.bool_())
    kinds |= {"began": arrow.timestamp("us", tz="UTC"), "stamp": arrow.binary()}
    names = {
        "sessions": ("session", *_WORDS, "began", "utc_offset_min", "ethogram", "length_ms",
                     "unwatched_ms", "hidden_ms", "marks", "closed", "records", "stamp", *_JSON),
        "bouts": ("session", "behaviour", "actor", "kind", "role", "hides", "qualifier", "onset_ms", "offset_ms",
                  "whole", "confident", "n"),
        "gaps": ("session", "onset_ms", "offset_ms", "why"),
    }  # fmt: skip
    return arrow.schema([(name, kinds[name]) for name in columns or names[table]])


def _writer(path: Path, table: str) -> "parquet.ParquetWriter":
    from pyarrow import parquet

    path.parent.mkdir(parents=True, exist_ok=True)
    schema = _schema(table)
    numbers = [one.name for one in schema if one.type == schema.field("session").type]
    order = [("session", "ascending"), *([] if table == "sessions" else [("onset_ms", "ascending")])]
    return parquet.ParquetWriter(
        path,
        schema,
        compression="zstd",
        use_dictionary=[one.name for one in schema if one.name not in numbers],
        # Times grow within a session, so differences are small: half the bytes of plain numbers.
        column_encoding=dict.fromkeys(numbers, "DELTA_BINARY_PACKED"),
        sorting_columns=parquet.SortingColumn.from_ordering(schema, order),
    )


def _table(paths: Sequence[Path], columns: Sequence[str] | None = None, of: str = "sessions") -> "pyarrow.Table":
    import pyarrow as arrow
    from pyarrow import parquet

    if not paths:
        return _schema(of).empty_table()
    kept = []
    for path in paths:
        try:
            kept.append(parquet.read_table(path, columns=columns, partitioning=None).cast(_schema(of, columns)))
        except (OSError, arrow.ArrowException, KeyError) as error:
            remedy = "write the season anew into another folder"
            raise Refusal(Finding("is no part of a season that can be read", remedy, path)) from error
    return arrow.concat_tables(kept).unify_dictionaries().combine_chunks()


def _codes(column: Any) -> tuple[list[str], Any]:
    """Return the words of a column, and each row's number among them; -1 for none."""
    import pyarrow as arrow

    kept = column.combine_chunks() if isinstance(column, arrow.ChunkedArray) else column
    kept = kept if isinstance(kept, arrow.DictionaryArray) else kept.dictionary_encode()
    return kept.dictionary.to_pylist(), kept.indices.fill_null(-1).to_numpy(zero_copy_only=False)


def _by_session(number: Any, held: "pyarrow.Table") -> "tuple[pyarrow.Table, Any]":
    """Return rows in the order of the sessions, and how many each has. Those of a session stand together already.

    A month that was written anew has higher numbers than those after it, so no order by number is that of the sessions.
    """
    of = held["session"].to_numpy()
    starts = np.flatnonzero(np.diff(of, prepend=-1))
    many = np.diff(starts, append=len(of))
    order = np.argsort(number)
    place = order[np.searchsorted(number, of[starts], sorter=order)]
    each = np.zeros(len(number), dtype=np.int64)
    each[place] = many
    if np.any(np.diff(place) < 0):
        runs = np.argsort(place)
        first = starts[runs] - (np.cumsum(many[runs]) - many[runs])
        held = held.take(np.repeat(first, many[runs]) + np.arange(len(of)))
    return held, each
