"""The phone as the keyboard of the strip: a page in the house, while a session runs, where it was asked for."""

__all__ = ["address", "code", "server"]
