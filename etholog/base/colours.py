"""The actors' colours on paper, on a page and in printed text: they can be told from black and from white alike."""

# Okabe & Ito 2008, Color Universal Design: colours that colour-blind people tell apart.
ACTORS = {"male": "#0072b2", "female": "#d55e00", "pair": "#009e73", "keeper": "#cc79a7"}
