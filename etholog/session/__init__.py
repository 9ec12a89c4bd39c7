"""One pairing: its records, the bouts that they fold to, and what they come to in plain words."""

from etholog.session.file import Session, SessionError, header, header_of, read

__all__ = ["Session", "SessionError", "folding", "header", "header_of", "read", "record", "summary"]
