"""What must be true of a thing of each kind, whatever text it was made from. Each judge raises AssertionError."""

import csv
import io
import json
import re
import unicodedata
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import openpyxl

# Windows: reserved names, and characters that no name may hold (Microsoft, Naming Files, Paths, and Namespaces).
_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)

# What OWASP's page on CSV injection names, and the same in full width, which some spreadsheets take for it.
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
# Unicode TR36: they show text in another order than it has.
TURNING = set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
csv.field_size_limit(10_000_000)


def _without(text: str, categories: tuple[str, ...], but_for: str) -> None:
    for odd in re.finditer("[^ -~]", text):  # the printable ones of ASCII are the many
        allowed = odd[0] in but_for or unicodedata.category(odd[0]) not in categories
        assert allowed, ascii(text[max(0, odd.start() - 60) : odd.end() + 60])


def terminal(data: bytes) -> None:
    """Nothing but printable characters and line ends reaches a terminal that was promised no colours."""
    text = data.decode().replace("\r\n", "\n")
    _without(text, ("Cc", "Cf", "Cs", "Zl", "Zp"), "\n")
    assert "Traceback (most recent call last)" not in text


def words(data: bytes) -> None:
    """As for a terminal, and short: no line drowns the others."""
    terminal(data)
    longest = max(data.decode().splitlines(), key=len, default="")
    assert len(longest) < 2000, longest[:200]


def piped_csv(data: bytes) -> None:
    """A terminal may be at the pipe's end: no control, no turning; and each row as long as the head."""
    text = data.decode("utf-8-sig").replace("\r\n", "\n")
    _without(text, ("Cc", "Cs", "Zl", "Zp"), "\n\t")
    assert not TURNING & set(text)
    head, *rows = csv.reader(io.StringIO(text, newline=""))
    assert {len(row) for row in rows} <= {len(head)}


def defused_csv(data: bytes) -> None:
    """No cell that is not a number begins as a formula does (OWASP, CSV Injection)."""
    piped_csv(data)
    for row in csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")):
        for cell in row:
            assert cell[:1] not in ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠") or _is_number(cell), (
                cell[:80]
            )


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return cell.strip() == cell


def workbook(data: bytes) -> None:
    """No cell is a formula, an error or a link; what looks like a formula is marked as text."""
    book = openpyxl.load_workbook(io.BytesIO(data))
    for sheet in book:
        for cell in (cell for row in sheet.iter_rows() for cell in row if cell.value is not None):
            assert cell.data_type not in ("f", "e"), ascii(cell.value)[:80]
            assert cell.hyperlink is None
            if isinstance(cell.value, str):
                assert len(cell.value) <= 32_767  # Excel's limit of a cell
                if cell.value.startswith(FORMULA):
                    assert cell.quotePrefix, ascii(cell.value)[:80]


class _Elements(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, list[tuple[str, str | None]]]] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, attrs))

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def html(data: bytes) -> None:
    """No text became an element, an attribute or a template's result; nothing turns the direction of reading."""
    text = data.decode()
    page = _Elements()
    page.feed(text)
    for tag, attributes in page.found:
        assert "pwned" not in dict(attributes), (tag, attributes)
        assert tag in ("script", "style") or not [name for name, _ in attributes if name.startswith("on")], attributes
    assert "pwned49" not in "".join(page.words)
    _without(text, ("Cc", "Cs"), "\n\t")


def svg(data: bytes) -> None:
    """It is XML whose every element is SVG's own, and no text became one of them."""
    html(data)
    for element in ElementTree.fromstring(data).iter():
        assert element.tag.startswith(
            (
                "{http://www.w3.org/2000/svg}",
                "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}",
                "{http://creativecommons.org/ns#}",
                "{http://purl.org/dc/elements/1.1/}",
            )
        ), element.tag
        assert element.tag.rpartition("}")[2] not in ("script", "foreignObject", "image", "a"), element.tag


def cues(data: bytes) -> None:
    """Blocks of a time line and lines of words, of which none is markup or a time to a player (WebVTT, SubRip)."""
    terminal(data)
    head, *blocks = data.decode().strip("\n").split("\n\n")
    assert blocks
    for block in blocks if head == "WEBVTT" else [head, *blocks]:
        times, *said = block.split("\n")[0 if head == "WEBVTT" else 1 :]
        assert re.fullmatch(r"[\d:.,]+ --> [\d:.,]+", times), block
        assert said
        assert not set("<>") & set("".join(said)), said


def calendar(data: bytes) -> None:
    """Lines of RFC 5545: CRLF alone ends them, none is over 75 octets, and no text became a property of its own."""
    lines = data.removesuffix(b"\r\n").split(b"\r\n")
    assert max(map(len, lines)) <= 75
    unfolded = data.decode().replace("\r\n ", "")
    _without(unfolded.replace("\r\n", "\n"), ("Cc", "Cs", "Zl", "Zp"), "\n\t")
    opened = [
        one for one in unfolded.split("\r\n") if one in ("BEGIN:VEVENT", "END:VEVENT", "BEGIN:VALARM", "END:VALARM")
    ]
    assert opened
    # What is overdue has no alarm; and an event that a text made would have no UID.
    assert re.fullmatch("(BEGIN:VEVENT (BEGIN:VALARM END:VALARM )?END:VEVENT )+", " ".join(opened) + " ")
    assert opened.count("BEGIN:VEVENT") == sum(one.startswith("UID:") for one in unfolded.split("\r\n"))


def as_json(data: bytes) -> None:
    """It is JSON by RFC 8259, and safe to look at on a terminal."""
    terminal(data)
    json.loads(data, parse_constant=lambda name: (_ for _ in ()).throw(AssertionError(name)))


def file_name(path: Path, folder: Path) -> None:
    """It lies in that folder, on any system and for any shell."""
    assert path.parent.resolve() == folder.resolve()
    name = path.name
    assert len(name.encode()) <= 255
    assert not re.search(r'[\x00-\x1f\x7f-\x9f/\\<>:"|?*\s]', name), ascii(name)
    assert not any(unicodedata.category(character) in ("Cf", "Cs") for character in name), ascii(name)
    assert not _RESERVED.fullmatch(name), name
    assert not name.startswith((".", "-")), name
    assert not name.endswith((".", " ")), name


JUDGES: dict[str, Any] = {
    "terminal": terminal,
    "words": words,
    "piped csv": piped_csv,
    "defused csv": defused_csv,
    "workbook": workbook,
    "html": html,
    "json": as_json,
    "svg": svg,
    "cues": cues,
    "calendar": calendar,
}
