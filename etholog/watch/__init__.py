"""The watch screen: a strip, after the pen recorders of the laboratory."""
