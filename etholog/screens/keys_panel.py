"""The panel that `?` opens over the strip: the keys, then the definitions; `?` turns its pages."""

from textual.widgets import Static

from etholog.ethogram.own_keys import Where
from etholog.recording.amender import Amender
from etholog.recording.recorder import Recorder
from etholog.screens.legend import definitions, key_table, key_words, own_words, pages


class KeysPanel(Static):
    """Hidden at first; any key but `?` hides it again."""

    DEFAULT_CSS = "KeysPanel { height: auto; dock: top; display: none; padding: 0 1 1 1; }"

    def __init__(self, recorder: Recorder | Amender, where: Where) -> None:
        super().__init__(id="keys", markup=False)
        self._recorder, self._where = recorder, where
        self._page = 0

    def turn(self) -> None:
        """Show the first page, or the next; after the last hide."""
        recorder, (width, height) = self._recorder, (self.screen.size.width - 2, self.screen.size.height - 2)
        words = [*key_words(recorder.layout), *own_words(self._where, recorder.keyboard)]
        told = definitions(recorder.ethogram, recorder.layout, recorder.keyboard, recorder.hand)
        table = key_table(words, width).split("\n")
        rows = height if len(table) <= height else max(1, height - 1)  # of several pages each has a foot
        tables = ["\n".join(table[at : at + rows]) for at in range(0, len(table), rows)]
        shown = [*tables, *pages(told, width, max(1, height - 1))]
        if self.display:
            self._page += 1
        else:
            self._page = 0
        self.display = self._page < len(shown)
        if self.display:
            more = "? turns the page" if self._page + 1 < len(shown) else "? goes back"
            foot = f"\n{more} ({self._page + 1} of {len(shown)})" if self._page or len(tables) > 1 else ""
            self.update(shown[self._page] + foot)

    def hide(self) -> None:
        """Show the strip again."""
        if self.display:  # hiding what is hidden has Textual lay the screen out
            self.display = False
