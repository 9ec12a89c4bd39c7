"""The colours of figures, pages and printed text; those of actors can be told from black and from white alike."""

# Okabe & Ito 2008, Color Universal Design: colours that colour-blind people tell apart.
ACTORS = {"male": "#0072b2", "female": "#d55e00", "pair": "#009e73", "keeper": "#cc79a7"}
INK, FAINT, RULE = "#222222", "#707070", "#d0d0d0"
GAP, GAP_LINES = "#e8e8e8", "#b0b0b0"
# What shows the ground, so that a dark page can tell it from what has to stay white.
GROUND = "#fefefe"


def tint(colour: str, share: float = 0.35) -> str:
    """Return a colour mixed with white, as #rrggbb.

    >>> tint("#000000"), tint("#0072b2", 1.0)
    ('#a6a6a6', '#0072b2')
    """
    parts = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return "#" + "".join(f"{round(255 - share * (255 - part)):02x}" for part in parts)
