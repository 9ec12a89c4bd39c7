"""What is wrong with a file or an answer, as data, and the one error that carries it to the user."""

from pathlib import Path
from typing import NamedTuple

from etholog.base.language import gettext


class Finding(NamedTuple):
    """One thing that is wrong: where (file, line, number of the record), what, and what to do about it.

    >>> str(Finding("no key is 'ö'", "choose another", Path("own.toml"), line=12))
    "own.toml: line 12: no key is 'ö'; choose another"
    """

    what: str
    remedy: str = ""
    path: Path | None = None
    line: int | None = None
    record: int | None = None

    def __str__(self) -> str:
        where = [
            *([] if self.path is None else [str(self.path)]),
            *([] if self.line is None else [gettext("line {number}", number=self.line)]),
            *([] if self.record is None else [gettext("record {number}", number=self.record)]),
        ]
        return ": ".join([*where, self.what]) + (f"; {self.remedy}" if self.remedy else "")


class Refusal(ValueError):
    """Clear lines for the user, a finding each. The command line ends with exit code 2 after it.

    >>> str(Refusal("no animal 'M-Flnt'; did you mean 'M-Flint'?"))
    "no animal 'M-Flnt'; did you mean 'M-Flint'?"
    """

    def __init__(self, *findings: Finding | str) -> None:
        self.findings = tuple(Finding(one) if isinstance(one, str) else one for one in findings)
        super().__init__("\n".join(map(str, self.findings)))
