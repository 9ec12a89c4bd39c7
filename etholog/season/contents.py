"""What `season.json` says, exact to the member: the border at which pydantic stands guard."""

from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, Field, ValidationError

from etholog.base import files
from etholog.base.refusal import Finding, Refusal
from etholog.ethogram import Role

_Month = Annotated[str, Field(pattern=r"^\d{4}-\d\d$")]
_Part = Annotated[str, Field(pattern=r"^part-[0-9a-f]+\.parquet$")]


class Contents(BaseModel):
    """The parts of each month, and what all sessions share; `following` is the number that the next session gets,
    `roles` are those of each ethogram's behaviours, by its hash: a workspace's own may have told them later."""

    format: str
    program: str
    following: int
    months: dict[_Month, list[_Part]]
    names: dict[str, str]
    species: dict[str, str]
    ethograms: list[dict[str, Any]]
    roles: dict[str, dict[str, Role]] = {}


def read(path: Path) -> Contents:
    """Return what the file says. Raises Refusal where it can't be read, or is something else."""
    try:
        return Contents.model_validate_json(files.read(path))
    except ValidationError as error:
        raise Refusal(Finding("is no season that etholog wrote", "write it anew into another folder", path)) from error
