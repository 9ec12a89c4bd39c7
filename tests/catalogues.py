"""The catalogues of `etholog/languages` and the sentences that the sources ask them for.

`python -m tests.catalogues` takes new sentences into each catalogue, untranslated, and drops those that nobody says.
"""

import io
from collections.abc import Iterator
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract, extract_from_dir
from babel.messages.pofile import read_po, write_po

from etholog import ethogram
from etholog.base.catalogues import FOLDER

SOURCES = FOLDER.parent
KEYWORDS = {"gettext": None, "gettext_noop": None, "beside": None, "ngettext": (1, 2), "ngettext_noop": (1, 2)}
Sentence = str | tuple[str, ...]


def sentences() -> dict[Sentence, str]:
    """Return every sentence that can be said in another language, and the file that says it."""
    found: dict[Sentence, str] = {}
    methods = [("**.py", "python")]
    for file, _, message, _, _ in extract_from_dir(SOURCES, methods, keywords=KEYWORDS):
        found.setdefault(message, file)
    for file in sorted(SOURCES.glob("report/templates/*.html")):
        opened = io.BytesIO(file.read_bytes())
        for _, message, _, _ in extract("jinja2.ext:babel_extract", opened, KEYWORDS, options={"trimmed": "true"}):
            found.setdefault(message, str(file.relative_to(SOURCES)))
    for message, file in _of_ethograms():
        found.setdefault(message, file)
    return found


def _of_ethograms() -> Iterator[tuple[str, str]]:
    for file in sorted(ethogram.shipped().glob("*.toml")):
        kept = ethogram.read(file)
        for behaviour in kept.behaviour:
            yield behaviour.label, file.name
            yield from ((choice.name, file.name) for choice in behaviour.choices)
        yield from ((interval.label, file.name) for interval in kept.interval)
        for care in kept.aftercare:
            yield care.source, file.name
            yield from ((form, file.name) for form in filter(None, [care.sac_form]))
    yield from ((stage, "stages") for stage in ethogram.STAGES)


def files() -> list[Path]:
    """Return the catalogues' files."""
    return sorted(FOLDER.glob("*/LC_MESSAGES/etholog.po"))


def update(file: Path) -> None:
    """Take new sentences into a catalogue, and drop those that nobody says."""
    with file.open("rb") as opened:
        old = read_po(opened, locale=file.parts[-3], domain="etholog")
    new = Catalog(locale=old.locale, domain="etholog", header_comment=old.header_comment, fuzzy=False)
    for message, source in sentences().items():
        known = old.get(message if isinstance(message, str) else message[0])
        new.add(message, known.string if known else None, auto_comments=[source])
    written = io.BytesIO()
    write_po(written, new, width=110, sort_output=True, no_location=True, omit_header=True)
    header = file.read_text(encoding="utf-8").partition("\n\n")[0]
    file.write_bytes(f"{header}\n\n".encode() + written.getvalue())


if __name__ == "__main__":
    for file in files():
        update(file)
