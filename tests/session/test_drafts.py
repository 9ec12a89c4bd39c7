"""Every kind of record has a constructor, and what that makes is what the border lets in."""

import inspect
import types
import typing
from datetime import UTC, datetime

import pytest
from pydantic import TypeAdapter, ValidationError

from etholog.session import drafts, record

MADE = {
    "mark": [drafts.mark(5, "clasp", "onset", "left"), drafts.mark(5, "touch")],
    "undo": [drafts.undo(1)],
    "move": [drafts.move(1, 5)],
    "recode": [drafts.recode(1, "clasp", "left"), drafts.recode(1, "clasp")],
    "doubt": [drafts.doubt(1, False)],
    "note": [drafts.note(5, "words"), drafts.note(5, "words", 3)],
    "stray": [drafts.stray(5, "j")],
    "repeat": [drafts.repeat(5, "d")],
    "gap": [drafts.gap(5), drafts.gap(5, "the door")],
    "back": [drafts.back(5)],
    "sync": [drafts.sync(5)],
    "rescue": [drafts.rescue(5)],
    "prompt": [drafts.prompt(5, "cup_ready")],
    "clock": [drafts.clock(5, "the machine slept for 9 s")],
    "tap": [drafts.tap(5, "0b9b8c1e-3c57-4f0a-9d5e-111111111111", "d", 4, 7, [3, 4])],
    "film": [drafts.film([])],
    "sound": [drafts.sound([])],
    "close": [drafts.close(5), drafts.close(5, {"ended": "he got out"})],
}
EXACT: TypeAdapter[object] = TypeAdapter(record.Record)


def kinds() -> set[str]:
    """Return what `do` may be, read from the model itself."""
    models = typing.get_args(typing.get_args(record.Record)[0])
    return {do for model in models for do in typing.get_args(typing.get_type_hints(model)["do"])}


def test_each_kind_of_the_model_has_a_constructor_of_its_name() -> None:
    functions = {name for name, one in vars(drafts).items() if isinstance(one, types.FunctionType)}
    assert kinds() == set(MADE) == {name for name in functions if name[0] != "_"} - {"at_wall"}


@pytest.mark.parametrize("kind", sorted(MADE))
def test_what_a_constructor_makes_is_let_in_and_a_slip_in_a_name_is_not(kind: str) -> None:
    for made in MADE[kind]:
        assert made["do"] == kind
        EXACT.validate_python({"n": 1, **made})
        with pytest.raises(ValidationError):
            EXACT.validate_python({"n": 1, **made, "tt": 5})
    with pytest.raises(TypeError):
        getattr(drafts, kind)(*[1] * len(inspect.signature(getattr(drafts, kind)).parameters), tt=5)


def test_the_time_of_the_wall_stands_beside_the_records_own() -> None:
    made = drafts.at_wall(drafts.back(5), datetime(2026, 5, 3, 21, 15, tzinfo=UTC))
    assert made == {"do": "back", "t": 5, "wall": "2026-05-03T21:15:00.000+00:00"}
    EXACT.validate_python({"n": 1, **made})
