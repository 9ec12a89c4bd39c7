"""One pairing: its records, the bouts that they fold to, and what they come to in plain words."""

from etholog.session.file import (
    FORMAT_1,
    FORMATS,
    Copy,
    Session,
    counted_once,
    fullest,
    header,
    header_of,
    prepare,
    read,
)

__all__ = [
    "FORMATS",
    "FORMAT_1",
    "Copy",
    "Session",
    "broken_off",
    "closing",
    "counted_once",
    "digest",
    "drafts",
    "endings",
    "evidence",
    "folding",
    "fullest",
    "header",
    "header_of",
    "latency",
    "log",
    "prepare",
    "question",
    "read",
    "record",
    "summary",
]
