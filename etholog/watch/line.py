"""A line to type into that holds nothing a terminal would act on."""

from textual.widgets import Input


class Line(Input):
    """Textual's input hands what it holds to the terminal as it is: pasted controls and direction marks are dropped."""

    def validate_value(self, value: str) -> str:
        """Keep what can be printed; Textual asks this of every new value."""
        return "".join(character for character in value if character.isprintable())
