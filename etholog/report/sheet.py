"""A printable page of plain lines under headings: one HTML file that asks nothing of any network."""

from collections.abc import Iterable, Sequence
from html import escape
from pathlib import Path

from etholog.base.language import current
from etholog.base.text import readable
from etholog.report import file

_STYLE = (
    "body{font:12pt/1.4 sans-serif;max-width:46em;margin:1.5em auto;padding:0 1em;color:#000;background:#fff}"
    "h1{font-size:1.3em}h2{font-size:1.05em;border-bottom:1px solid #000;margin:1.2em 0 .3em;break-after:avoid}"
    "ul{margin:0;padding:0;list-style:none}li{padding:.15em 0;break-inside:avoid;white-space:pre-wrap}"
    "@media print{body{margin:0;max-width:none}}"
)


def html(title: str, sections: Iterable[tuple[str, Sequence[str]]]) -> str:
    """Return the page: its title, then each heading with its lines."""
    parts = [
        f"<h2>{_safe(heading)}</h2>\n<ul>\n" + "".join(f"<li>{_safe(line)}</li>\n" for line in lines) + "</ul>\n"
        for heading, lines in sections
    ]
    return (
        f'<!DOCTYPE html>\n<html lang="{current()}">\n<head>\n<meta charset="utf-8">\n{file.GENERATOR}\n'
        f"<title>{_safe(title)}</title>\n"
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n"
        f"<style>{_STYLE}</style>\n</head>\n<body>\n<h1>{_safe(title)}</h1>\n{''.join(parts)}</body>\n</html>\n"
    )


def write(path: Path, title: str, sections: Iterable[tuple[str, Sequence[str]]]) -> None:
    """Write the page whole, or not at all. Raises Refusal where that can't be done, or no page of ours is there."""
    file.write(html(title, sections), path)


def _safe(text: str) -> str:
    return escape(readable(text))
