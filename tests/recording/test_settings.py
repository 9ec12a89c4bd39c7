"""What a workspace's etholog.toml says, and what of it is none."""

from pathlib import Path

from etholog.recording import settings
from etholog.recording.settings import Settings


def test_each_line_that_says_nothing_known_is_told_with_its_line(tmp_path: Path) -> None:
    (tmp_path / settings.NAME).write_text(
        'theme = "night"\nhand = "both"\nplace = 7\n\n[watch]\nobsrever = "Ana"\n', encoding="utf-8"
    )
    read, findings = settings.read(tmp_path)
    assert read == Settings(theme="night")
    assert [found.line for found in findings] == [2, 3, 5]
    assert "left or right" in findings[0].remedy
    (tmp_path / settings.NAME).write_text("theme = night", encoding="utf-8")
    read, (found,) = settings.read(tmp_path)
    assert read == Settings() and "is not TOML" in found.what
    assert settings.read(tmp_path / "nowhere") == (Settings(), [])


def test_options_win_and_a_session_remembers(tmp_path: Path) -> None:
    begun = Settings(hand="right", theme="night")
    session = tmp_path / "a.jsonl"
    settings.keep(session, begun)
    assert Settings(theme="day").before(settings.kept(session)) == Settings(hand="right", theme="day")
    settings._beside(session).write_text('{"hand": "third", "theme": "night"}')  # somebody's editor
    assert settings.kept(session) == Settings(theme="night")
    settings.forget(session)
    assert settings.kept(session) == Settings()
    assert not list(tmp_path.iterdir())
