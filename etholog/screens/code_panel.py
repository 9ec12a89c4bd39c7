"""The code of the phone's page over the strip: a camera reads it, or somebody types what stands below it."""

from textual.widgets import Static

from etholog.base.text import visible_lines

PLAIN_HTTP = "Not encrypted: use it in a network of your own only. Ctrl-P hides this."
ENCRYPTED = "Ctrl-P hides this."


class CodePanel(Static):
    """Hidden at first; any key hides it again."""

    DEFAULT_CSS = "CodePanel { height: auto; dock: top; display: none; padding: 0 1; }"

    def show(self, url: str, draws: bool) -> None:
        """Show the code, where there is room and `draws` says that there are characters for it; else the address."""
        from etholog.phone.code import code

        words = [f"On a phone in this network: {url}", PLAIN_HTTP if url.startswith("http:") else ENCRYPTED]
        lines = code(url) if draws else []
        width, height = self.screen.size
        fits = lines and len(lines) + len(words) <= height and len(lines[0]) + 2 <= width
        self.update(visible_lines([*lines, *words] if fits else words))
        self.display = True

    def hide(self) -> None:
        """Show the strip again."""
        if self.display:  # hiding what is hidden has Textual lay the screen out
            self.display = False
