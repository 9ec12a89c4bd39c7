"""One pairing: its records, the bouts that they fold to, and what they come to in plain words."""

from etholog.session.file import Session, header, header_of, read

__all__ = ["Session", "drafts", "folding", "header", "header_of", "read", "record", "summary"]
