"""Labels of behaviours on the screen in the language that is asked for, where the ethogram has them so."""

import json
from pathlib import Path

import pytest

from tests.make import TERRESTRIAL_1
from tests.screens.terminal import Terminal, the_file

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("by", ["option", "environment"])
def test_the_strip_has_the_labels_of_the_language_and_the_file_has_codes(tmp_path: Path, by: str) -> None:
    text = Path(TERRESTRIAL_1).read_text(encoding="utf-8")
    label = 'label = "palpal drumming"\n'
    assert label in text
    text = text.replace(label, f'{label}labels = {{ fr = "tambourine", de = "trommelt" }}\n')
    text = "\n".join(
        'format = "etholog-ethogram/3"' if line.startswith("format = ") else line for line in text.splitlines()
    )
    own = tmp_path / "own.toml"
    own.write_text(text + "\n", encoding="utf-8")
    words = ("watch", "--male", "M-1", "--female", "F-1", "--ethogram", str(own))
    asked = ("--language", "fr") if by == "option" else ()
    environment = {} if by == "option" else {"LANG": "fr_FR.UTF-8", "LC_ALL": "", "LC_MESSAGES": "", "LANGUAGE": ""}
    with Terminal(*words, *asked, cwd=tmp_path, rows=40, columns=110, **environment) as terminal:
        terminal.start()
        terminal.type("d")
        terminal.until("now: tambourine")
        shown = terminal.screen()
        assert "palpal drumming" not in shown and "clasp" in shown  # what has no label in the language has its own
        terminal.end_and_leave()
    lines = the_file(tmp_path).read_text(encoding="utf-8").splitlines()
    assert any(json.loads(line).get("code") == "drumming" for line in lines)
    assert '"palpal drumming"' in lines[0]
