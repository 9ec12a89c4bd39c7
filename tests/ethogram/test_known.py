"""Shipped ethograms are taken as checked, by what they say to the letter; anything else is checked."""

import hashlib
import json
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from etholog import ethogram
from etholog.ethogram import checking, from_plain, known

SHIPPED = [*sorted(ethogram.shipped().glob("*.toml")), Path(__file__).parents[2] / "examples" / "terrestrial-1.toml"]


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_what_is_shipped_is_known_and_is_what_a_check_makes_of_it(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    checked = checking.from_table(file, text, tomllib.loads(text))
    digest = hashlib.sha256(text.encode()).hexdigest()
    assert digest in known.FILES, f"add {digest} of {file.name} to etholog/ethogram/known.py"
    assert checked.hash in known.HASHES, f"add {checked.hash} of {file.name} to etholog/ethogram/known.py"
    for one in (ethogram.read(file), from_plain(json.loads(checked.plain_json()))):
        assert one == checked
        assert repr(one) == repr(checked)  # no 5 for 5.0, and no list for a tuple
        assert one.plain_json() == checked.plain_json()


def test_one_letter_more_is_checked(tmp_path: Path) -> None:
    text = SHIPPED[0].read_text(encoding="utf-8")
    other = tmp_path / "own.toml"
    other.write_text(text.replace('kind = "event"', 'kind = "evend"', 1), encoding="utf-8")
    with pytest.raises(ValueError, match="evend"):
        ethogram.read(other)
    values = ethogram.read(SHIPPED[0]).plain()
    with pytest.raises(ValueError, match="evend"):
        from_plain(values | {"behaviour": [{**values["behaviour"][0], "kind": "evend"}]})


def test_a_shipped_ethogram_is_read_without_models() -> None:
    script = "import sys; from etholog import ethogram; ethogram.read(ethogram.find('terrestrial'))\n"
    script += "print([name for name in ('pydantic', 'pydantic_core') if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
