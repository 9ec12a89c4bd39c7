"""`etholog` alone, on a terminal: the home screen, and what is chosen there."""

from datetime import date
from pathlib import Path

from etholog import animals
from etholog.animals import care
from etholog.base import rescue
from etholog.base.files import listed
from etholog.commands import main
from etholog.ethogram import at_hand
from etholog.screens.home import Home


def run() -> int:
    """Show the home screen, run what is chosen there, and come back to it."""
    while True:
        today, known = date.today(), animals.read(Path())
        journals = [Path(folder) / name for folder in ("sessions", "animals") for name in listed(Path(folder))[0]]
        alarms = [str(found) for found in rescue.waiting(journals)]
        words = Home(known, care.due(known, at_hand(Path()), today), today, alarms).run()
        if words is None:
            return 0
        print(f"$ etholog {' '.join(words)}\n")
        main(words)
        try:
            input("\nEnter: back to the home screen. ")
        except EOFError:
            return 0
