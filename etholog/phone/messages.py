"""What the phone may say, exact to the member: the border at which pydantic stands guard."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from etholog.recording.taps import WORDS
from etholog.session.drafts import TAP_ID

LONGEST = 8192  # bytes of a message
NOTE_LONGEST = 2000

Id = Annotated[str, Field(pattern=TAP_ID)]
# A clock's milliseconds: of a page's life, or of the years since 1970.
Clock = Annotated[float, Field(ge=-1e14, le=1e14, allow_inf_nan=False)]


class _Exact(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class Hello(_Exact):
    """The first thing a page says: the token of its address, which phone it is, since when its clock runs (`epoch`
    changes with each load and each wake), and what its wall clock shows."""

    do: Literal["hello"]
    token: Annotated[str, Field(max_length=100)]
    phone: Id
    epoch: Id
    wall: Clock


class Woke(_Exact):
    """The phone slept, or was locked: its clock may have stood still."""

    do: Literal["woke"]
    epoch: Id
    wall: Clock


class Shows(_Exact):
    """What the phone's clock shows, in answer to question `n`."""

    do: Literal["shows"]
    n: Annotated[int, Field(ge=0, le=10**9)]
    epoch: Id
    at: Clock


class Tapped(_Exact):
    """A tap as the phone kept it: at which time of its own clock, and what it knew of the recorder's by then
    (`clock`: the three numbers of a comparison)."""

    do: Literal["tap"]
    id: Id
    session: Annotated[str, Field(min_length=1, max_length=200)]
    epoch: Id
    at: Clock
    wall: Clock
    clock: Annotated[tuple[Clock, Clock, Clock] | None, Field(strict=False)] = None
    what: Annotated[str, Field(max_length=200)] = ""
    act: Annotated[str, Field(pattern=f"^({'|'.join(WORDS)})?$")] = ""
    of: Id | Annotated[int, Field(ge=0, le=10**9)] | None = None
    text: Annotated[str, Field(max_length=NOTE_LONGEST)] = ""


Message = Hello | Woke | Shows | Tapped
_message: TypeAdapter[Message] = TypeAdapter(Annotated[Message, Field(discriminator="do")])


def read(text: str) -> Message | None:
    """Return what a phone said; None for anything that a page of ours does not say."""
    try:
        message = _message.validate_json(text)
    except (ValidationError, ValueError, RecursionError):
        return None
    if isinstance(message, Tapped) and not (message.act or message.what):
        return None
    return message
