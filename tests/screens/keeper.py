"""A keeper at the desk, in a real terminal: what is typed is counted."""

from tests.screens.terminal import Terminal


class Keeper:
    """Types at the desk, and counts the keys."""

    def __init__(self, terminal: Terminal) -> None:
        self.terminal, self.keys = terminal, 0

    def type(self, keys: str, wait: str) -> str:
        self.keys += len(keys)
        self.terminal.type(keys)
        return self.terminal.until(wait)

    def make_workspace(self) -> None:
        self.terminal.until("make a workspace here")
        self.type("n", "back to the desk")
        self.back()

    def begin_card(self, name: str, sex: str) -> None:
        self.type("a", "Ctrl-S writes it")
        self.type(f"{name}\r{sex}\rBrachypelma smithi\x13", f"{name}: sex")

    def begin_watching(self, male: str, female: str) -> str:
        """Fill the form and pass the cautions; returns those."""
        self.type("w", "his name or id")
        cautions = self.type(f"{male}\r{female}\x13", "Enter starts the clock")
        self.type("\r", "nothing runs")
        return cautions

    def back(self) -> None:
        self.type("\r", "LAST SESSIONS")
