"""The shipped ethograms, and what the reader says of a wrong one: file, line, whose, what, all at once."""

import re
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import ethogram
from etholog.base.refusal import Refusal

NAMES = ("terrestrial", "arboreal", "wolf-spider", "jumping-spider")
# What one hand reaches without moving, on a QWERTY keyboard, with the digits above it.
REACH = {"left": set("456qwertyasdfghzxcvbn"), "right": set("567poiuyt[;lkjhg'/.,mnb")}


def shipped(name: str) -> Path:
    return ethogram.shipped() / f"{name}.toml"


@pytest.mark.parametrize("name", NAMES)
def test_a_shipped_ethogram_reads_and_comes_back_from_a_header(name: str) -> None:
    kept = ethogram.read(shipped(name))
    assert kept.name == name
    assert ethogram.from_plain(kept.plain()) == kept
    assert len(kept.hash) == 64


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("hand", ["left", "right"])
def test_one_hand_reaches_every_key(name: str, hand: ethogram.Hand) -> None:
    layout = ethogram.read(shipped(name)).layout(hand)
    assert set(layout) <= REACH[hand]
    assert len(layout) <= 21
    other = ethogram.read(shipped(name)).layout("right" if hand == "left" else "left")
    assert {(p.behaviour.code, p.choice) for p in layout.values()} == {
        (p.behaviour.code, p.choice) for p in other.values()
    }


@pytest.mark.parametrize("name", NAMES)
def test_what_a_shipped_ethogram_must_say(name: str) -> None:
    kept = ethogram.read(shipped(name))
    assert all(len(b.label) <= 17 for b in kept.behaviour), "a label heads a lane of 17 columns"
    assert "poison centre" in " ".join(kept.cautions)
    assert "Local codes" in " ".join(kept.cautions)
    assert {"left", "right"} == {choice.name for choice in kept.by_code["insertion"].choices}
    assert {b.actor for b in kept.behaviour if b.hides} == {"male", "female"}
    assert kept.interval_named("courtship").to
    texts = " ".join(prompt.text for prompt in kept.prompt)
    for words in ("hands out", "leave them be", "don't chase", "Keeper first", "consider ending"):
        assert words in texts
    assert all(care.sac[0] < care.sac[1] and care.free[0] < care.free[1] for care in kept.aftercare)


def test_aftercare_holds_what_keepers_tell() -> None:
    # Common practice, no source: in some Old World species a sac follows about two months after a pairing, hung just
    # off the floor and easily overlooked in the web.
    fixed = [c for c in ethogram.read(shipped("terrestrial")).aftercare if c.sac_form and "overlooked" in c.sac_form]
    assert any(c.sac[0] <= 60 <= c.sac[1] for c in fixed)


def changed(tmp_path: Path, old: str, new: str, times: int = 1) -> Path:
    path = tmp_path / "mine.toml"
    text = shipped("terrestrial").read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, times), encoding="utf-8")
    return path


def line_after(path: Path, code: str, member: str) -> int:
    """The line of a member of the behaviour with this code, counted without the reader's help."""
    lines = path.read_text(encoding="utf-8").splitlines()
    start = lines.index(f'code = "{code}"')
    return next(i for i, line in enumerate(lines[start:], start + 1) if line.startswith(f"{member} ="))


@pytest.mark.parametrize(
    ("old", "new", "code", "member", "words"),
    [
        ('key = { left = "f", right = "j" }', 'key = { left = "d", right = "j" }', "vibration", "key",
         "key 'd' is taken by 'drumming' (left hand); choose another"),
        ('key = { left = "f", right = "j" }', 'key = { left = "1", right = "j" }', "vibration", "key",
         "key '1' is kept for the watch screen"),
        ('key = { left = "f", right = "j" }', 'key = { left = "F", right = "j" }', "vibration", "key",
         "would need Shift"),
        ('label = "body vibration"\nactor = "male"', 'label = "body vibration"\nactor = "female"', "vibration", "chain",
         "chain 'his_acts' is the male's ('walking'), not the female's"),
        ('actor = "male"\nkind = "state"\nchain = "his_acts"\nstage = "search"',
         'actor = "male"\nkind = "stat"\nchain = "his_acts"\nstage = "search"', "walking", "kind", "kind = 'stat'"),
        ('resembles = "threat"', 'resembles = "treat"', "raises", "resembles", "did you mean 'threat'"),
        ('within = "clasp"', 'within = "touch"', "palp_probing", "within", "which is an event; only a state lasts"),
        ('within = "clasp"', 'within = "palp_probing"', "palp_probing", "within", "lies within itself"),
        ('label = "walks"', 'label = "walks"\ncolour = "red"', "walking", "colour", "unknown word 'colour'"),
    ],
)  # fmt: skip
def test_a_wrong_behaviour_is_refused_with_its_line(
    tmp_path: Path, old: str, new: str, code: str, member: str, words: str
) -> None:
    path = changed(tmp_path, old, new)
    with pytest.raises(Refusal) as refused:
        ethogram.read(path)
    lines = [line for line in str(refused.value).splitlines() if words in line]
    assert len(lines) == 1, str(refused.value)
    assert lines[0].startswith(f"{path}: line {line_after(path, code, member)}: behaviour '{code}': ")


def test_an_unknown_behaviour_in_an_interval_is_refused_with_its_line(tmp_path: Path) -> None:
    path = changed(tmp_path, 'since = ["on_silk"]', 'since = ["on_silc"]')
    at = path.read_text(encoding="utf-8").splitlines().index('since = ["on_silc"]') + 1
    with pytest.raises(Refusal, match=re.escape(f"{path}: line {at}: interval 'courtship': 'on_silc' is no behaviour")):
        ethogram.read(path)


def test_all_errors_are_told_at_once(tmp_path: Path) -> None:
    path = changed(tmp_path, 'key = { left = "f", right = "j" }', 'key = { left = "d", right = "k" }')
    path.write_text(path.read_text(encoding="utf-8").replace('within = "clasp"', 'within = "clap"'), encoding="utf-8")
    with pytest.raises(Refusal) as refused:
        ethogram.read(path)
    assert len(str(refused.value).splitlines()) == 4  # a key for each hand, and two of `within`


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"\xff\xfe", "is not UTF-8"),
        (b"a = ", "is not TOML"),
        (b"[" * 5000, "is not TOML"),
        (b"", "'name' is missing"),
        (b'behaviour = "x"', "behaviour"),
        (b"behaviour = [1, 2]", "behaviour"),
    ],
)
def test_what_is_no_ethogram_is_refused_in_plain_lines(
    tmp_path: Path, content: bytes, words: str, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(content)
    with pytest.raises(Refusal, match=words):
        ethogram.read(path)
    done = etholog("check", path)
    assert done.returncode == 1
    assert "Traceback" not in done.stderr


def test_a_missing_ethogram_gets_the_nearest_name() -> None:
    with pytest.raises(Refusal, match="did you mean 'terrestrial'"):
        ethogram.find("terestrial")


def test_the_workspaces_own_come_before_the_shipped(tmp_path: Path) -> None:
    (tmp_path / "ethograms").mkdir()
    own = tmp_path / "ethograms" / "terrestrial.toml"
    own.write_bytes(shipped("terrestrial").read_bytes())
    assert ethogram.find("terrestrial", tmp_path) == own
    assert ethogram.find("arboreal", tmp_path) == shipped("arboreal")
