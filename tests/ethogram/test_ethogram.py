"""The shipped ethograms, and what the reader says of a wrong one: file, line, whose, what, all at once."""

import re
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import ethogram
from etholog.base.refusal import Refusal
from tests.make import TERRESTRIAL_1

NAMES = ("terrestrial", "arboreal", "wolf-spider", "jumping-spider")
# What one hand reaches without moving, on a QWERTY keyboard, with the digits above it.
REACH = {"left": set("456qwertyasdfghzxcvbn"), "right": set("567poiuyt[;lkjhg'/.,mnb")}
ONTOLOGY = Path(__file__).parent / "nbo-2023-07-04.obo"


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
    text = TERRESTRIAL_1.read_text(encoding="utf-8")
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
         "key 'd' is taken by 'drumming' (left hand); free are f"),
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
    with pytest.raises(
        Refusal, match=re.escape(f"{path}: line {at}: interval 'courtship': 'on_silc' is not a behaviour")
    ):
        ethogram.read(path)


def test_all_errors_are_told_at_once(tmp_path: Path) -> None:
    path = changed(tmp_path, 'key = { left = "f", right = "j" }', 'key = { left = "d", right = "k" }')
    path.write_text(path.read_text(encoding="utf-8").replace('within = "clasp"', 'within = "clap"'), encoding="utf-8")
    with pytest.raises(Refusal) as refused:
        ethogram.read(path)
    assert len(str(refused.value).splitlines()) == 4  # a key for each hand, and two of `within`


@pytest.mark.slow
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


def terms() -> dict[str, tuple[str, list[str]]]:
    """The quoted terms of the Neuro Behavior Ontology (its source stands at the top): id -> name, and what it is."""
    found = {}
    for stanza in ONTOLOGY.read_text(encoding="utf-8").split("[Term]")[1:]:
        lines = dict.fromkeys(line for line in stanza.splitlines() if ": " in line)
        said = [line.split(": ", 1) for line in lines]
        values = dict(said)
        found[values["id"]] = values["name"], [value.split(" ! ")[0] for name, value in said if name == "is_a"]
    return found


@pytest.mark.parametrize("name", NAMES)
def test_every_term_of_the_ontology_is_in_the_quoted_release(name: str) -> None:
    quoted = terms()
    kept = ethogram.read(shipped(name))
    for b in kept.behaviour:
        assert b.nbo is None or b.nbo in quoted, f"{b.code}: {b.nbo}"
    # What each role may be called at most, by the definitions in that release.
    wanted = {
        "insertion": "copulation",
        "clasp": "mating behavior",
        "strike": "agonistic behavior",
        "answer": "female courtship behavior",
        "refusal": "mate rejection",
        "flight": "escape behavior",
    }
    for code, role in kept.role_of.items():
        if role in wanted:
            assert quoted[kept.by_code[code].nbo or ""][0] == wanted[role]
    assert all(up in quoted for _, ups in quoted.values() for up in ups if up != "NBO:0000087" and up != "NBO:0000635")


@pytest.mark.parametrize("name", NAMES)
def test_a_shipped_ethogram_says_its_roles_and_has_a_new_version(name: str) -> None:
    kept = ethogram.read(shipped(name))
    assert kept.format == "etholog-ethogram/2"
    assert float(kept.version) >= 2
    assert not kept.missing(
        "introduced", "silk", "display", "answer", "touch", "clasp", "insertion", "flight", "strike"
    )
    assert kept.with_role("courtship") == kept.interval_named("courtship")
    displays = kept.codes_of("display")
    assert set(kept.interval_named("courtship").to) <= set(displays)
    assert all(kept.by_code[code].chain != "his_acts" for code in displays), "displays may overlap"
    assert not any("half a minute" in b.definition for b in kept.behaviour)


@pytest.mark.parametrize("name", ["terrestrial", "arboreal"])
def test_what_a_tarantulas_ethogram_tells_apart(name: str) -> None:
    # Ferretti & Ferrero 2008, J. Arachnol. 36 (palpation and drumming); Copperi et al. 2012 (legs III); the hazard of
    # hairs: common practice, no source.
    kept = ethogram.read(shipped(name))
    assert {"palpation", "drumming", "taps_her", "refuses", "kicks_hairs"} <= set(kept.by_code)
    assert "palpation" not in kept.codes_of("display")
    assert kept.codes_of("refusal") == ("refuses",)
    assert kept.codes_of("hairs") == ("kicks_hairs",)
    assert [prompt.urgent for prompt in kept.prompt if prompt.after == ("kicks_hairs",)] == [True]


def test_the_ethogram_of_the_example_season_is_the_one_of_version_0_1() -> None:
    from etholog import session

    season = Path(__file__).parents[2] / "examples" / "season" / "sessions"
    kept = ethogram.read(TERRESTRIAL_1)
    assert {session.read(file).ethogram.hash for file in season.glob("*.jsonl")} == {kept.hash}
    # The hash that sessions of version 0.1 carry, as that version wrote it.
    assert kept.hash == "52da2fc0b1f883c6180082e5b3e3e29e0105c7e7e177b4574e076b3332872bd1"


@pytest.mark.slow
def test_check_shows_which_keys_are_free(tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]) -> None:
    path = changed(tmp_path, 'key = { left = "f", right = "j" }', "")
    done = etholog("check", "--keys", path)
    assert done.returncode == 0
    assert "left hand: 20 keys taken; free: f" in done.stdout
    assert 'without a key: vibration (give it one, or write resembles = "vibration" at' in done.stdout
    full = etholog("check", "--keys", "terrestrial")
    assert "left hand: 21 keys taken; free: none" in full.stdout


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("hand", ["left", "right"])
def test_every_act_is_marked_by_a_key_or_by_one_more_press(name: str, hand: ethogram.Hand) -> None:
    kept = ethogram.read(shipped(name))
    by = ethogram.recoded_from(kept.behaviour)
    keyed = {press.behaviour.code for press in kept.layout(hand).values()}
    assert keyed | set(by) == {b.code for b in kept.behaviour}
    assert set(by.values()) <= keyed
