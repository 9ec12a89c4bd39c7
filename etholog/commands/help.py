"""`etholog help`: pages on the words, the keys, the files, the methods and their sources."""

import argparse
import sys

from etholog.base.refusal import Refusal
from etholog.base.shipped import folder
from etholog.base.text import nearest


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("topic", nargs="?", help=f"one of: {', '.join(topics())}")
    parser.epilog = "examples:\n  etholog help\n  etholog help methods"


def topics() -> list[str]:
    """Return the names of the pages."""
    return sorted(file.stem for file in folder("help").glob("*.md"))


def run(args: argparse.Namespace) -> int:
    """Print a page, or the list of them."""
    if args.topic is None:
        for name in topics():
            title = _page(name).splitlines()[0].removeprefix("# ")
            print(f"  etholog help {name:<10} {title}")
        return 0
    if args.topic not in topics():
        raise Refusal(f"no page {args.topic!r}{nearest(args.topic, topics())}")
    text = _page(args.topic)
    if sys.stdout.isatty():
        from rich.console import Console
        from rich.markdown import Markdown

        console = Console()
        with console.pager(styles=True) if text.count("\n") > console.height else console:
            console.print(Markdown(text))
    else:
        print(text, end="")
    return 0


def _page(name: str) -> str:
    text = (folder("help") / f"{name}.md").read_text(encoding="utf-8")
    return _with_keys(text) if name == "keys" else text


def _with_keys(text: str) -> str:
    from etholog.ethogram.own_keys import Where, rows  # here, since no other page needs the models of an ethogram

    for where in Where:
        keys = [f"| {called} | {long} |" for called, _, long in rows(where) if long]
        table = "\n".join(("| key | what it does |", "|---|---|", *keys))
        text = text.replace(f"{{{(where.name or '').lower()}}}", table)
    return text
