"""`etholog label`: a label for her enclosure, or for the young of her sac, to print, with a QR code of the id."""

import argparse
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.base.catalogues import asked
from etholog.base.language import beside, gettext, gettext_noop, number, speaking, unchecked
from etholog.base.refusal import Refusal
from etholog.base.text import many, some_of, visible
from etholog.commands.output import add_folder, add_language, goes_with, say, tell

if TYPE_CHECKING:
    from etholog.animals import Animals
    from etholog.ethogram import Ethogram

SIZE = "63.5x38.1"  # mm
WINDOWS_SHOWN = 2  # a label is small
LETTERS_NAMED = 12
NO_FONT = (
    "no font on this computer has the letters {letters}: boxes stand in their place, the code holds the name all the"
    " same. Install a font that has them, or give a name in Latin letters: etholog card OLD renamed NEW"
)
# Shown in full, after what to beware of: the label is read by whoever opens the enclosure next.
CAUTION = gettext_noop("Lid at hand. Don't open or shake.")
# By the kind of the entry, `{said}` what the keeper wrote with it.
_TOLD = {
    "laid": gettext_noop("laid {day}{said}"),
    "pulled": gettext_noop("pulled {day}{said}"),
    "opened": gettext_noop("opened {day}{said}"),
}
_CAME = {
    "eaten": gettext_noop("sac laid {laid}, eaten {day}"),
    "opened": gettext_noop("sac laid {laid}, opened {day}"),
    "pulled": gettext_noop("sac laid {laid}, pulled {day}"),
}


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("animals", nargs="+", metavar="FEMALE", help="whose label")
    parser.add_argument("--lot", action="store_true", help="for the young of her last sac instead")
    parser.add_argument("-o", "--out", type=Path, metavar="FILE", help=".svg, .pdf or .png (default: plain text)")
    parser.add_argument("--size", metavar="WxH", help=f"with --out: in mm (default: {SIZE})")
    parser.add_argument("--sheet", action="store_true", help="with --out: many on a page, as sheets of labels are sold")
    add_language(parser)
    add_folder(parser)
    parser.epilog = (
        "examples:\n  etholog label F-Umbra\n  etholog label F-Umbra --lot\n"
        "  etholog label F-Umbra F-Sepia -o labels.pdf --size 70x37\n"
        "  etholog label F-Umbra F-Sepia F-Moss -o sheet.pdf --sheet"
    )


def run(args: argparse.Namespace) -> int:
    """Print or write the labels."""
    goes_with("--out", args.out, size=args.size, sheet=args.sheet)
    with speaking(asked(args.language)):
        return _write(args)


def _write(args: argparse.Namespace) -> int:
    from etholog import animals as animals_
    from etholog.ethogram import at_hand

    known = animals_.read(args.folder)
    labels = []
    kept = at_hand(args.folder)
    for name in args.animals:
        known.require(name)
        if known.sex_of(name) == "male":
            raise Refusal(f"{name} is a male; a label is of a female: who she was paired with, when to look for a sac")
        told = lot_lines(known, name) if args.lot else lines(known, name, kept)
        shown = [visible(line) for line in (*told, *filter(None, [unchecked()]))]
        # Whoever scans it reads who it is, without any program of ours: the id, and the species on a second line.
        labels.append((shown, "\n".join(filter(None, (shown[0], visible(known.species_of(name)))))))
    if args.out:
        from etholog.export import label

        lacking = label.write(args.out, labels, label.size_of(args.size or SIZE), args.sheet)
        say(f"{many(len(labels), 'label')} in {args.out}")
        if lacking:
            say(NO_FONT.format(letters=visible(some_of(lacking, LETTERS_NAMED))))
            return 1
    else:
        for at, (shown, _) in enumerate(labels):
            tell(*([""] if at else []), *shown)
    say(*known.findings)
    return 1 if known.findings else 0


def lot_lines(known: "Animals", name: str) -> Iterator[str]:
    """Yield what the label of a lot says, what it is called first."""
    from etholog.animals import cautions, young

    of = young.lot(known, name)
    yield of.lot_id
    yield known.species_of(name) or gettext("species not on record")
    yield gettext("dam {dam}; sire {sires}", dam=of.female, sires=_either(of.sire_words))
    for said, entry in (("laid", of.sac), ("pulled", of.pulled), ("opened", of.opened)):
        if entry:
            words = f", {entry.words}" if entry.words else ""
            yield gettext(_TOLD[said], day=entry.on.text, said=words)
    if warm := of.all("incubated"):
        yield gettext("at {degrees} °C", degrees=number(warm[-1].number or 0.0, "g"))
    living = [count for count in of.lot.counts if count.state == "alive"]
    sums = of.lot.closing
    if living and sums:
        yield gettext(
            "{count} alive, {stage} {day}",
            count=number(sums.alive, "g"),
            stage=living[-1].stage.words,
            day=living[-1].on.text,
        )
    yield f"{cautions.on_label(known.species_of(name), '', '')} {beside(CAUTION)}"


def lines(known: "Animals", name: str, kept: "list[Ethogram]") -> Iterator[str]:
    """Yield what a label says, the id first."""
    from etholog.animals import care, cautions
    from etholog.animals.attempts import attempts

    yield known.id_of(name)
    yield known.species_of(name) or gettext("species not on record")
    tries = attempts(known, name)
    now = tries[-1] if tries else None
    card = known.find(name)
    if card and card.died:
        yield gettext("died {day}", day=card.died.text)
    if now is None:
        yield gettext("not paired")
    elif now.moult:
        yield gettext("moulted {day}: not paired since", day=now.moult.on.text)
    elif now.sac:
        came = now.eaten or now.opened or now.pulled
        if now.guarding:
            mine = care.window(name, known, kept)
            alone = gettext("leave alone, water always")
            if mine:
                until = next(task.last for task in care.of_sac(now, mine, known) if task.kind == "guard")
                alone = gettext("leave alone until {day}, water always", day=until)
            yield gettext("sac laid {day}; {alone}", day=now.sac.on.text, alone=alone)
        else:
            laid = now.sac.on.text
            said = gettext(_CAME[came.kind], laid=laid, day=came.on.text) if came else ""
            yield said or gettext("sac laid {laid}", laid=laid)
        if now.sac_alone:
            yield gettext("rests on {evidence}", evidence=now.rests_on)
        yield gettext("sire: {sires}", sires=_either(now.sire_words))
        if now.lot.words:
            yield now.lot.words
    else:
        met = now.taken or now.pairings
        males = gettext(" and ").join(dict.fromkeys(p.mate_of(now.female) for p in met))
        yield gettext("with {males}, last {day}", males=males, day=met[-1].on.text)
        rests = gettext("sperm may have been transferred: {evidence}", evidence=now.rests_on)
        yield rests if now.taken else now.best.words
        if now.taken and not now.died:
            mine = care.window(name, known, kept)
            if mine is None:
                yield gettext("when to look for a sac is not known of this kind")
            else:
                windows = care.sac_windows(now, mine)[-WINDOWS_SHOWN:]
                for shown in windows:
                    of = gettext(" (paired {day})", day=shown.pairings[0].on.text) if len(windows) > 1 else ""
                    yield gettext("look for a sac {opens} to {closes}", opens=shown.opens, closes=shown.closes) + of
    family = card.fact("family") if card else ""
    yield f"{cautions.on_label(known.species_of(name), known.ethogram_of(name), family)} {beside(CAUTION)}"
    if number := cautions.poison_centre(known.folder):
        yield number


def _either(sires: Iterable[str]) -> str:
    return gettext(" or ").join(sires) or gettext("unknown")
