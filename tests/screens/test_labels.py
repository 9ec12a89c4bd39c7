"""Labels of behaviours on the screen in the language that is asked for, where the ethogram has them so."""

import json
import re
from pathlib import Path

import pytest
from rich.cells import cell_len

from etholog import ethogram
from etholog.recording.opening import begin
from etholog.recording.recorder import Recorder
from etholog.screens.themes import THEMES, Look
from tests.make import TERRESTRIAL_1
from tests.screens.captures import BEGAN, seen, strip, text
from tests.screens.terminal import Terminal, the_file

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("by", ["option", "environment"])
def test_the_strip_has_the_labels_of_the_language_and_the_file_has_codes(tmp_path: Path, by: str) -> None:
    toml = Path(TERRESTRIAL_1).read_text(encoding="utf-8")
    label = 'label = "palpal drumming"\n'
    assert label in toml
    toml = toml.replace(label, f'{label}labels = {{ fr = "tambourine", de = "trommelt" }}\n')
    toml = "\n".join(
        'format = "etholog-ethogram/3"' if line.startswith("format = ") else line for line in toml.splitlines()
    )
    own = tmp_path / "own.toml"
    own.write_text(toml + "\n", encoding="utf-8")
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


# Each of these letters takes two columns of a terminal (Unicode Standard Annex 11, East Asian Wide).
async def test_labels_in_wide_letters_leave_each_lane_its_columns(tmp_path: Path) -> None:
    toml = TERRESTRIAL_1.read_text(encoding="utf-8")
    for label, wide in (("palpal drumming", "触肢敲击"), ("clasp", "抱握"), ("walks", "雄蛛在地上行走着的状态行走")):
        assert f'label = "{label}"' in toml
        toml = toml.replace(f'label = "{label}"', f'label = "{wide}"')
    (tmp_path / "wide.toml").write_text(toml, encoding="utf-8")
    kept = ethogram.read(tmp_path / "wide.toml")
    recorder = Recorder(begin(tmp_path / "sessions", kept, BEGAN, 0.0), kept, "left", BEGAN, 0.0, wall=lambda: BEGAN)
    for at, key in enumerate("4sdv", 1):
        recorder.press(key, at)
    app, _ = strip(recorder, Look(THEMES["day"]))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        lanes = [line for line in text(seen(pilot)).splitlines() if line.count("│") == 2]
        assert sum(wide in line for line in lanes for wide in ("触肢敲击", "抱握", "雄蛛在地上")) == 3
        assert {cell_len(line[: line.index("│")]) for line in lanes} == {20}
        assert {cell_len(line[: line.rindex("│")]) for line in lanes} == {66}
        await pilot.press("question_mark")
        await pilot.pause()
        keys = [line for line in text(seen(pilot)).splitlines() if "palp probing" in line or "insertion left" in line]
        assert len(keys) == 2
        assert len({cell_len(line[: re.search(r"\b[xz] ", line).start()]) for line in keys}) == 1  # type: ignore[union-attr]
    recorder.journal.close()
