"""`etholog agree` with two files that are no two records of one session."""

from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from tests.make import marks, write_session

pytestmark = pytest.mark.slow

Run = Callable[..., CompletedProcess[str]]
MADE = [*marks((1000, "touch", None)), {"do": "close", "t": 600_000, "outcome": {}}]
MISTAKE = [*marks((1000, "touch", None)), {"do": "close", "t": 6_000, "outcome": {"accident": True}}]


def write(folder: Path) -> None:
    (folder / "sessions").mkdir()
    for name, made, header in (
        ("a", MADE, {}),
        ("late", MADE, {"began": "2026-05-03T21:20:00.000+02:00"}),  # as an observer who came five minutes later
        ("second", MADE, {"began": "2026-06-03T21:15:00.000+02:00", "record_of": "a"}),  # from a film, a month later
        ("others", MADE, {"male": "M-9"}),
        ("next-day", MADE, {"began": "2026-05-04T21:15:00.000+02:00"}),
        ("mistake", MISTAKE, {}),
    ):
        write_session(folder / "sessions" / f"{name}.jsonl", made, **header)


@pytest.mark.parametrize(
    ("second", "code", "said"),
    [
        ("late", 0, ""),
        ("second", 0, ""),
        ("others", 1, "one record is of M-1 with F-1, the other of M-9 with F-1; name two records of one session"),
        ("next-day", 1, "not recorded at one time (2026-05-03 21:15 and 2026-05-04 21:15); name two records"),
        ("a", 2, "is one record, named twice"),
        (
            "mistake",
            2,
            "was begun by mistake, as you answered, and counts for nothing; if it is to count: etholog amend",
        ),
    ],
)
def test_records_of_two_sessions_are_told_apart(
    etholog: Run, tmp_path: Path, second: str, code: int, said: str
) -> None:
    write(tmp_path)
    done = etholog("agree", "sessions/a.jsonl", f"sessions/{second}.jsonl", cwd=tmp_path)
    assert done.returncode == code
    assert said in done.stderr
    assert bool(done.stdout) == (code < 2)


def test_a_report_on_a_session_begun_by_mistake_alone_says_so(etholog: Run, tmp_path: Path) -> None:
    write(tmp_path)
    done = etholog("report", "sessions/mistake.jsonl", cwd=tmp_path)
    assert done.returncode == 2
    assert "sessions/mistake.jsonl: was begun by mistake, as you answered" in done.stderr


def test_one_record_alone_asks_for_the_other(etholog: Run, tmp_path: Path) -> None:
    write(tmp_path)
    done = etholog("agree", "sessions/a.jsonl", cwd=tmp_path)
    assert done.returncode == 2
    assert done.stderr == "sessions/a.jsonl: is one record alone; name that of the second observer, too\n"
