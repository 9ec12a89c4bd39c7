"""Ways in which a file comes to harm, and ways in which somebody harms it."""

import random
import zlib

# Values that have broken readers of text: limits of numbers, controls, bidi marks, markup, formulas, sequences.
TOKENS = [
    b"null", b"true", b"-1", b"0", b"1e999", b"NaN", b"99999999999999999999", b"2.5", b'""', b'"\\u0000"',
    b'"\\ud800"', b'"\\u202e"', b'"\x1b[31m"', b'"=1+1"', b"[]", b"{}", b"[" * 400, b'{"a":' * 200, b'"insertion"',
    b'"2026-02-30"', b"\xff\xfe", b"\r", b"\x00", b"\n", b'"' + b"x" * 5000 + b'"',
]  # fmt: skip
_CRC = b',"crc":"'


def mutated(data: bytes, chance: random.Random) -> bytes:
    """Return the data after one to four mutations."""
    for _ in range(chance.randint(1, 4)):
        data = chance.choice(_WAYS)(data, chance)
    return data


def resealed(data: bytes) -> bytes:
    """Return a journal with the number and the checksum of each line made right again, so that what a line says is
    what a reader has to judge."""
    lines = []
    for n, line in enumerate(data.split(b"\n")):
        body = line[: line.rfind(_CRC)] if _CRC in line else line.rstrip(b"}")
        if body.startswith(b'{"n":') and b"," in body:
            body = b'{"n":%d' % n + body[body.index(b",") :]
        lines.append(body + _CRC + b'%08x"}' % zlib.crc32(body) if line else line)
    return b"\n".join(lines)


def _flip(data: bytes, chance: random.Random) -> bytes:
    if not data:
        return data
    at = chance.randrange(len(data))
    return data[:at] + bytes([data[at] ^ (1 << chance.randrange(8))]) + data[at + 1 :]


def _cut(data: bytes, chance: random.Random) -> bytes:
    at, length = chance.randrange(len(data) + 1), chance.choice([1, 3, 17, 200])
    return data[:at] + data[at + length :]


def _twice(data: bytes, chance: random.Random) -> bytes:
    at, length = chance.randrange(len(data) + 1), chance.choice([1, 9, 120])
    return data[: at + length] + data[at:]


def _token(data: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(data) + 1)
    return data[:at] + chance.choice(TOKENS) + data[at:]


def _value(data: bytes, chance: random.Random) -> bytes:
    """Replace what stands between a colon (or an equals sign) and the next comma, bracket or line's end."""
    starts = [i for i in range(len(data)) if data[i : i + 1] in b":="]
    if not starts:
        return data
    start = chance.choice(starts) + 1
    end = next((i for i in range(start, len(data)) if data[i : i + 1] in b",}]\n"), len(data))
    return data[:start] + chance.choice(TOKENS) + data[end:]


def _lines(data: bytes, chance: random.Random) -> bytes:
    lines = data.split(b"\n")
    one, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    lines[one], lines[other] = lines[other], lines[one]
    return b"\n".join(lines)


def _torn(data: bytes, chance: random.Random) -> bytes:
    return data[: chance.randrange(len(data) + 1)]


_WAYS = (_flip, _cut, _twice, _token, _value, _value, _value, _lines, _torn)
