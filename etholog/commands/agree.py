"""`etholog agree`: how far two observers' records of one session agree, or those of all sessions of a folder."""

import argparse
import math
import sys
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.base.refusal import Finding, Refusal
from etholog.base.text import in_words, percent
from etholog.base.workspace import root_of
from etholog.commands.output import (
    add_json,
    add_more,
    as_json,
    draw,
    lead,
    limits,
    picture_file,
    say,
    shares,
    table,
    tell,
)

if TYPE_CHECKING:
    from etholog.analysis.agreement import Agreement
    from etholog.analysis.observers import Observers
    from etholog.session import Session


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("first", type=Path, metavar="FIRST", help="one record of the session, or a folder of them")
    parser.add_argument("second", type=Path, metavar="SECOND", nargs="?", help="the other; none with a folder")
    parser.add_argument("--criterion", type=float, metavar="KAPPA", help="with a folder: what kappa is to reach")
    parser.add_argument(
        "--chart",
        type=picture_file,
        metavar="FILE",
        help="draw it (svg, pdf, png): durations' differences, or with a folder agreement over time",
    )
    parser.add_argument("--tolerance", type=float, default=1.0, metavar="S", help="onsets this near may match (1 s)")
    parser.add_argument("--unit", type=float, default=1.0, metavar="S", help="time unit of kappa (1 s)")
    parser.add_argument("--align", action="store_true", help="take out a constant shift between the two clocks")
    add_more(parser)
    add_json(parser)
    parser.epilog = (
        "examples:\n  etholog agree sessions/a.jsonl sessions/a-second.jsonl --tolerance 2 --chart a.svg\n"
        "  etholog agree sessions --criterion 0.8 --chart agreement.svg"
    )


def run(args: argparse.Namespace) -> int:
    """Print the table of behaviours and kappa; 1 where a line of a file could not be used."""
    if not (args.tolerance >= 0.001 and args.unit >= 0.001):
        raise Refusal("--tolerance and --unit must be 0.001 or more, in seconds")
    if args.second is None and args.first.is_file():
        raise Refusal(Finding("is one record alone", "name that of the second observer, too", args.first))
    if args.second is None:
        return _folder(args)
    if args.criterion is not None:
        raise Refusal("--criterion goes with a folder: etholog agree FOLDER")
    from etholog import season, session
    from etholog.analysis.agreement import agreement
    from etholog.analysis.sentences import agreement as sentences

    read = [session.read(path) for path in (args.first, args.second)]
    if mistakes := [one.mistake for one in read if one.is_accident]:
        raise Refusal(*mistakes)
    odd = _odd(*read)
    records = [season.of(one.path.parent, [one]) for one in read]
    found = agreement(records[0], records[1], args.tolerance, args.unit, args.align)
    labels = records[1].labels | records[0].labels
    plain = sentences.of_session(found, args.tolerance, labels)
    if not args.json:
        lead(plain)
    if args.json:
        told = {name: getattr(found, name) for name in ("kappa", "matched", "agreed", "shift_s")}
        told |= {name: getattr(found, name) for name in ("difference_s", "low_s", "high_s")}
        told |= {name: getattr(found, name) for name in ("watched_s", "unwatched_s", "silent_s", "outside")}
        print(as_json({**told, "plain": plain, "behaviours": found.table.reset_index()}))
    elif sys.stdout.isatty():
        _show(found, args, labels)
    else:
        table(found.table.reset_index())
    if args.chart is not None:
        from etholog import figures

        draw(figures.differences(found, labels), args.chart)
    faults = [*odd, *(fault for one in read for fault in one.findings)]
    say(*faults)
    return 1 if faults else 0


def _odd(first: "Session", second: "Session") -> list[Finding]:
    """Return what speaks against two files being two records of one session; a name may be spelt in two ways."""
    if first.id == second.id:
        raise Refusal(Finding("is one record, named twice", "name that of the second observer, too", second.path))
    if second.header.get("record_of") == first.id or first.header.get("record_of") == second.id:
        return []
    pairs = [f"{one.header['male']} with {one.header['female']}" for one in (first, second)]
    if pairs[0] != pairs[1]:
        return [Finding(f"one record is of {pairs[0]}, the other of {pairs[1]}", "name two records of one session")]
    ends = [one.began + timedelta(milliseconds=one.fold.end) for one in (first, second)]
    if max(first.began, second.began) > min(ends):
        began = " and ".join(f"{one.began:%Y-%m-%d %H:%M}" for one in (first, second))
        return [Finding(f"the two were not recorded at one time ({began})", "name two records of one session")]
    return []


def _folder(args: argparse.Namespace) -> int:
    from etholog import season, session
    from etholog.analysis.observers import observers
    from etholog.analysis.sentences import agreement as sentences
    from etholog.animals import naming

    folder = season.folder_of(args.first)
    called = naming.names(root_of(folder))
    every, unread = season.sessions_in(folder, called)
    found = [every[at] for at in session.fullest(one.as_copy for one in every).values()]
    firsts = {one.id: one for one in found if "record_of" not in one.header}
    seconds = [one for one in found if one.header.get("record_of") in firsts]
    pairs = [(firsts[one.header["record_of"]], one) for one in seconds]
    seasons = [(season.of(folder, [one], (), called), season.of(folder, [two], (), called)) for one, two in pairs]
    told = observers(seasons, args.tolerance, args.unit, args.align, args.criterion)
    plain = sentences.of_sessions(told)
    if not args.json:
        lead(plain)
    if args.json:
        words: dict[str, object] = {
            name: getattr(told, name) for name in ("kappa", "kappa_low", "kappa_high", "sentence")
        }
        print(as_json({**words, "plain": plain, "sessions": told.sessions, "behaviours": told.table.reset_index()}))
    elif sys.stdout.isatty():
        _show_folder(
            told, args.more, {code: name for pair in seasons for one in pair for code, name in one.labels.items()}
        )
    else:
        table(told.table.reset_index())
    if args.chart is not None:
        from etholog import figures

        draw(figures.drift(told, args.criterion), args.chart)
    faults = [*unread, *(fault for pair in pairs for one in pair for fault in one.findings)]
    say(*faults)
    return 1 if faults else 0


def _show_folder(told: "Observers", more: bool, labels: dict[str, str]) -> None:
    sessions = told.sessions[["session", "second", "matched"]].copy()
    sessions["agreed"] = [shares(value) for value in told.sessions["agreed"]]
    sessions["kappa"] = ["-" if math.isnan(value) else f"{value:.3f}" for value in told.sessions["kappa"]]
    if told.sessions["reaches"].notna().any():
        sessions["reaches it"] = ["yes" if value else "no" for value in told.sessions["reaches"]]
    table(sessions)
    if not more:
        tell("kappa: agreement beyond chance, second by second; 1 is full. Each behaviour, and limits: --more.")
        return
    each = told.table.reset_index()
    shown = each[["behaviour", "what", "sessions", "difference"]].copy()
    shown["behaviour"] = [in_words(str(code), labels) for code in each["behaviour"]]
    for head, low, high in (("95 % lie in", "low", "high"), ("low from", "low_from", "low_to"),
                            ("high from", "high_from", "high_to")):  # fmt: skip
        shown[head] = [limits(*ends, missing="-") for ends in zip(each[low], each[high], strict=True)]
    shown["ICC"] = [
        "-" if math.isnan(icc) else f"{icc:.2f}" + ("" if math.isnan(low) else f" ({low:.2f} to {high:.2f})")
        for icc, low, high in zip(each["icc"], each["icc_low"], each["icc_high"], strict=True)
    ]
    table(shown, title="Totals of each session: the second observer's less the first's")
    tell(
        told.sentence
        + " low from, high from: 95 % limits of the limits of agreement; they hold where differences are about normal,"
        " and in 86 of 100 simulated records where a few are large (in 55 to 60 where one observer misses it altogether"
        " in a tenth of the sessions). ICC: (2,1); its limits hold in 93 of 100, in 89 where a few differences are"
        " large (in 54 to 67 where it is missed so). Where neither saw it in more than a quarter of the sessions there"
        " are no such limits: they would be too narrow."
    )


def _show(found: "Agreement", args: argparse.Namespace, labels: dict[str, str]) -> None:
    shown = found.table[["first", "second", "matched"]].reset_index()
    shown["behaviour"] = [in_words(str(code), labels) for code in shown["behaviour"]]
    shown["agreed"] = [shares(value) for value in found.table["agreed"]]
    shown["kappa"] = ["-" if math.isnan(value) else f"{value:.3f}" for value in found.table["kappa"]]
    if not args.more:
        table(shown)
        tell("kappa: agreement beyond chance, second by second; 1 is full. In all, and how durations differ: --more.")
        return
    shown["longer by, s"] = found.table["difference_s"].to_numpy()
    ends = zip(found.table["low_s"], found.table["high_s"], strict=True)
    shown["limits, s"] = [limits(low, high, missing="-") for low, high in ends]
    table(shown)
    if args.align:
        way = "later" if found.shift_s < 0 else "earlier"
        print(f"Shifted the second record {abs(found.shift_s):.3f} s {way}.")
    kappa = "not defined" if math.isnan(found.kappa) else f"{found.kappa:.3f}"
    said = f"In all, {found.matched} onsets match within {args.tolerance:g} s"
    said += "." if math.isnan(found.agreed) else f": {percent(found.agreed)} of all that either recorded."
    said += f" Kappa over units of {args.unit:g} s: {kappa}."
    if not math.isnan(found.low_s):
        said += f" The second's bouts are {found.difference_s:+.2f} s longer; 95 % of such differences lie within"
        said += f" {found.low_s:+.2f} to {found.high_s:+.2f} s."
    said += f" Both watched {found.watched_s:,.0f} s; in {found.silent_s:,.0f} s of them neither recorded a state that"
    said += " runs, which kappa counts as agreement."
    if found.unwatched_s or found.outside:
        said += f" Left out: {found.unwatched_s:,.0f} s that one of the two did not watch, with {found.outside} onsets."
    tell(said + " Fewer and rarer codes lower kappa: there is no one value that is good enough.")
