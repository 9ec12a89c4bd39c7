"""The page's address as a code for a camera (QR, ISO/IEC 18004), drawn with characters."""

import segno

UPPER, LOWER, BOTH = "▀", "▄", "█"


def code(url: str) -> list[str]:
    """Return the code in lines of half blocks: what is printed is light, what is blank is dark, a light border around.

    >>> len(code("http://192.168.1.20:8477/#k2X_0vbT1YpQm8sD4rWc9A"))
    19
    """
    matrix = [list(row) for row in segno.make_qr(url, error="l").matrix_iter(border=4)]
    if len(matrix) % 2:
        matrix.append([0] * len(matrix[0]))
    pairs = zip(matrix[::2], matrix[1::2], strict=True)
    marks = {(0, 0): BOTH, (0, 1): UPPER, (1, 0): LOWER, (1, 1): " "}
    return ["".join(marks[bool(up), bool(down)] for up, down in zip(*rows, strict=True)) for rows in pairs]
