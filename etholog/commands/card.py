"""`etholog card`: an animal's card: read it, add to it, take many entries from a table."""

import argparse
import sys
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

from etholog import animals as animals_
from etholog.animals import Animals, entering, life, loan, naming, notebook, young
from etholog.animals.card import KINDS
from etholog.animals.custody import custody
from etholog.animals.entering import NewEntry
from etholog.base import files
from etholog.base.refusal import Finding, Refusal
from etholog.base.text import many, visible
from etholog.commands.output import (
    add_folder,
    add_json,
    as_json,
    draw,
    finding_data,
    goes_with,
    portable_table,
    say,
    tell,
)
from etholog.ethogram import at_hand


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("animal", nargs="?", help="whose card; without it, all cards are listed")
    parser.add_argument("entry", nargs="?", help=f"what to add: {', '.join(KINDS)}; or undo")
    parser.add_argument("said", nargs="*", metavar="WORDS", help="what it says: a size, a name, a number")
    parser.add_argument("--on", metavar="DATE", help="2026-05-03, or 2026-05 or 2026 (default: today)")
    parser.add_argument("--unsure", action="store_true", help="mark it as not certain")
    parser.add_argument("--note", default="", help="what else there is to say")
    parser.add_argument(
        "--take", type=Path, metavar="CSV", help=f"take entries from a table: {', '.join(notebook.COLUMNS)}"
    )
    parser.add_argument("--write", action="store_true", help="with --take: write them (without it, nothing is written)")
    parser.add_argument(
        "--slashes", choices=("day-first", "month-first"), help="with --take: how dates such as 3/5/2026 are meant"
    )
    parser.add_argument(
        "--loan", action="store_true", help="for its lender: what became of it, with whom, and what came of it"
    )
    parser.add_argument(
        "--lot", nargs="?", const="", metavar="DATE", help="the young of her last sac, or of the sac of that date"
    )
    parser.add_argument(
        "-o", "--out", type=Path, metavar="FILE", help="with --loan or --lot: a page (.html) to print or send"
    )
    parser.add_argument("--names", action="store_true", help="with --lot --out: name those who have her young, too")
    parser.add_argument(
        "--pedigree", type=Path, metavar="FILE",
        help="ancestors and young of the animal, or all animals: picture (.svg .pdf .png), table (.csv), PED (.ped)",
    )  # fmt: skip
    parser.add_argument("--browse", action="store_true", help="browse the cards on a screen")
    parser.add_argument("--leaf", action="store_true", help=argparse.SUPPRESS)  # its name in 0.1
    add_folder(parser)
    add_json(parser)
    parser.epilog = (
        "examples:\n  etholog card F-Umbra                              read it\n"
        "  etholog card F-Umbra meal small --on 2026-05-03\n"
        "  etholog card M-Basalt moult last --on 2026-02\n"
        "  etholog card F-Umbra count nymphs 214\n"
        "  etholog card F-14 sire M-Basalt or M-Flint        one of two\n"
        "  etholog card F-Umbra lent Anna until 2026-09-01\n"
        '  etholog card M-Slate borrowed "Bert until 2026-09-01"\n'
        "  etholog card M-Slate shares Bert 1, me 2          who gets how much of the young\n"
        "  etholog card M-Slate --loan -o bert.html          a page for its lender\n"
        "  etholog card F-Umbra split Anna 80, me 160        then: placed Anna 80, raised F-31\n"
        "  etholog card F-Umbra --lot -o young.html          a page of her young, to share\n"
        "  etholog card F-Umbra --pedigree umbra.svg         her ancestors and young; without her, all animals\n"
        "  etholog card F-Umbra undo 7                       take entry #7 back\n"
        "  etholog card --take old-notebook.csv              what would be written; --write writes it"
    )


def take_words(args: argparse.Namespace, more: list[str]) -> bool:
    """Take words that stand after an option as if they stood before it; False where one of them is an option."""
    if any(word.startswith("-") for word in more):
        return False
    words = [word for word in (args.animal, args.entry) if word is not None] + args.said + more
    args.animal, args.entry, args.said = words[0], words[1] if len(words) > 1 else None, words[2:]
    return True


def run(args: argparse.Namespace) -> int:
    """Read, list, add or take in; 1 where something on the cards is odd."""
    goes_with("--loan or --lot", args.loan or args.lot is not None, out=args.out)
    goes_with("--lot and --out", args.lot is not None and args.out, names=args.names)
    goes_with("the name of an animal", args.animal, loan=args.loan, lot=args.lot is not None)
    goes_with("--take", args.take, write=args.write, slashes=args.slashes)
    goes_with("what is added, such as meal", args.entry, on=args.on, unsure=args.unsure, note=args.note)
    shown = ("loan", args.loan), ("lot", args.lot is not None), ("pedigree", args.pedigree), ("browse", args.browse)
    if args.entry and (asked := [f"--{name}" for name, given in shown if given]):
        raise Refusal(f"{asked[0]} reads, and {args.entry} is to be written: write it first, without {asked[0]}")
    if args.json and (args.entry or args.take or args.loan or args.lot is not None or args.pedigree or args.browse):
        raise Refusal("--json goes with reading a card, or listing all: name an animal and no more, or nothing")
    known = animals_.read(args.folder)
    if args.take:
        return _take(args, known)
    if args.leaf:
        say("--leaf is called --browse now; the old name goes with the next version")
    if args.browse or args.leaf:
        from etholog.commands.recording import look_of, need_terminal
        from etholog.screens.browse import CardBrowser

        need_terminal()
        browser = CardBrowser(look_of(args.folder), known, args.animal)
        browser.run()
        return browser.return_code or 0
    if args.pedigree:
        return _pedigree(args.animal, known, args.pedigree)
    if args.animal is None:
        return _list(known, args.json)
    if args.loan:
        return _page(args.animal, loan.sections(known, known.require(args.animal)), known, args.out)
    if args.lot is not None:
        of = young.lot(known, known.require(args.animal), args.lot)
        people = args.names or args.out is None
        told = young.sections(known, of, at_hand(args.folder), date.today(), people)
        return _page(of.lot_id, told, known, args.out)
    if args.entry is None:
        return _show(args.animal, known, args.json)
    if args.entry == "undo":
        return _undo(args.animal, args.said, known)
    on = args.on or date.today().isoformat()
    entry = entering.typed(args.entry, args.said, on, not args.unsure, args.note)
    return _add(NewEntry(args.animal, entry), known)


def _show(name: str, known: Animals, json: bool) -> int:
    known.require(name)
    one = known.find(name)
    found = (
        []
        if one is None
        else [f for f in (*known.findings, *animals_.questions(known)) if f.path in (one.path, *one.paths.values())]
    )
    if json:
        print(as_json({**_data(name, known), "findings": [*map(finding_data, found)]}))
    else:
        tell(*life.lines(known, name))
    say(*found)
    return 1 if found else 0


def _data(name: str, known: Animals) -> dict[str, Any]:
    """Return an animal's card for JSON, and the pairings that cards and sessions know of."""
    one, died = known.find(name), known.died(name)
    return {
        "animal": known.id_of(name),
        "names": list(one.names) if one else [known.id_of(name)],
        "sex": known.sex_of(name),
        "species": known.species_of(name) or None,
        "died": died.text if died else None,
        "card": str(one.path) if one else None,
        "custody": custody(one).words or None,
        "entries": [
            {
                "n": entry.n,
                "entry": entry.kind,
                "on": entry.on.text,
                "first_on": entry.on.first,
                "last_on": entry.on.last,
                "sure": entry.sure,
                "words": entry.words,
                "number": entry.number,
                "note": entry.note,
                "card": entry.of or None,
                "sac": entry.sac.text if entry.sac else None,
            }
            for entry in (one.entries if one else ())
        ],
        "pairings": [
            {
                "on": met.on.text,
                "male": met.male,
                "female": met.female,
                "evidence": {"rung": int(met.evidence), "words": met.evidence.words},
                "ended": met.ended or None,
                "strikes": met.strikes,
                "session": met.file.stem if met.file else None,
            }
            for met in known.pairings_of(name)
        ],
    }


def _page(title: str, told: list[life.Section], known: Animals, out: Path | None) -> int:
    """Print a page, or write it to print or send."""
    if out is not None:
        from etholog.report import sheet

        sheet.write(out, f"{known.id_of(title)}, {date.today()}", told)
        print(visible(str(out)))
        return 0
    for heading, lines in told:
        tell(heading, *(f"  {line}" for line in lines))
    return 0


def _pedigree(name: str | None, known: Animals, out: Path) -> int:
    """Write who comes from whom, in the form that the file's name asks for."""
    from etholog.analysis import lineage
    from etholog.base.atomic import replacing

    who = known.require(name) if name else ""
    names = lineage.family(known, who) if name else lineage.everybody(known)
    kind = out.suffix.lower()
    if kind == ".ped":
        content = lineage.ped(known, names).encode()
    elif kind == ".csv":
        table = lineage.lineage(known, names)
        content = portable_table(table).to_csv(index=False, lineterminator="\n").encode()
    elif kind in files.PICTURES:
        from etholog import figures

        draw(figures.pedigree(known, names, who), out)
        return 0
    else:
        raise Refusal(f"{out}: a pedigree is written as {', '.join(files.PICTURES)}, .csv or .ped")
    with replacing(out) as file:
        file.write(content)
    say(f"{many(len(names), 'animal')} written to {out}")
    return 0


def _list(known: Animals, json: bool) -> int:
    rows: list[dict[str, Any]] = []
    for name in known.known():
        one = known.find(name)
        met = known.pairings_of(name)
        last = {kind: found.on.text if one and (found := one.last(kind)) else None for kind in ("moult", "meal")}
        rows.append(
            {
                "animal": name,
                "sex": known.sex_of(name),
                "species": known.species_of(name) or None,
                "last_moult": last["moult"],
                "last_meal": last["meal"],
                "last_session": met[-1].on.text if met else None,
                "card": "no card" if one is None else f"died {one.died.text}" if one.died else "yes",
            }
        )
    odd = [*known.findings, *animals_.questions(known)]
    if json:
        print(as_json({"animals": rows, "findings": [*map(finding_data, odd)]}))
    elif rows:
        import pandas as pd

        from etholog.commands.output import table

        listed = pd.DataFrame(rows)
        if not sys.stdout.isatty():
            table(listed)
        else:
            table(listed.drop(columns="card").rename(columns=lambda name: name.replace("_", " ")))
            for said, some in listed[listed["card"] != "yes"].groupby("card")["animal"]:
                tell(f"{said}: {', '.join(some)}")
    else:
        say(f'{known.folder}: no cards yet; begin one: etholog card F1 species "Brachypelma smithi"')
    say(*odd)
    return 1 if odd else 0


def _add(new_entry: NewEntry, known: Animals) -> int:
    proposal = entering.propose(known, [new_entry], date.today())
    numbers = entering.write(proposal)
    new = set[str]()
    for one, n in zip(proposal.proposed, numbers, strict=True):
        begun = ", a new card" if one.begins and one.card.id not in new else ""
        new.add(one.card.id)
        print(visible(f"{one.card.id}: {one.entry.said} on {one.entry.on.text}  [#{n}{begun}]"))
        wrong = f"if that is wrong: etholog card {naming.quoted(one.card.id)} undo {n}"
        say(*(Finding(f"? {found.what}", "; ".join(filter(None, (found.remedy, wrong)))) for found in one.asked))
    return 1 if proposal.asked else 0


def _undo(name: str, said: Sequence[str], known: Animals) -> int:
    entry = entering.undo(known, name, " ".join(said))
    print(visible(f"{known.id_of(name)}: taken back: {entry.said} on {entry.on.text}"))
    return 0


def _take(args: argparse.Namespace, known: Animals) -> int:
    """Take entries from a table, all or none; an entry that is on the card already is left alone, so that taking in
    twice makes no doubles."""
    new_entries, unread = notebook.read(args.take, args.slashes)
    proposal = entering.propose(known, new_entries, date.today(), once=True)
    for one in proposal.proposed:
        read_as = f"  (from {one.said})" if one.said != one.entry.on.text else ""
        print(visible(f"{one.card.id}: {one.entry.said} on {one.entry.on.text}{read_as}"))
    say(*(Finding(f"? {found.what}", found.remedy, found.path, found.line) for found in proposal.asked))
    if unread or proposal.refused:
        raise Refusal(*unread, *proposal.refused, Finding("nothing was written", "mend these lines first", args.take))
    if args.write:
        entering.write(proposal)
    done = "written" if args.write else "would be written; --write writes them"
    there = f", {many(proposal.there, 'is', 'are')} on the cards already" if proposal.there else ""
    say(f"{many(len(proposal.proposed), 'entry', 'entries')} {done}{there}")
    return 1 if proposal.asked else 0
