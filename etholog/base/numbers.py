"""Numbers that somebody types, whatever the decimal sign of their language is."""

import math
import re

from etholog.base.refusal import Refusal

_THOUSANDS = re.compile(r"[1-9]\d{0,2}(,\d{3})+", re.ASCII)


def typed_number(text: str) -> float | None:
    """Read a number, with a point or a decimal comma; None where there is none. Raises Refusal for `1,234`, which is
    1234 to one keeper and 1.234 to another.

    >>> typed_number("23.5"), typed_number("23,5"), typed_number("0,125"), typed_number("warm")
    (23.5, 23.5, 0.125, None)
    """
    if _THOUSANDS.fullmatch(text):
        raise Refusal(f"is {text!r} {text.replace(',', '')} or {text.replace(',', '.', 1)}? Write one of them")
    try:
        found = float(text.replace(",", ".") if text.count(",") == 1 and "." not in text else text)
    except ValueError:
        return None
    return found if math.isfinite(found) else None
