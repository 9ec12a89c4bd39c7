"""Every public function says what it takes and returns, what it refuses, and shows one example that runs."""

import inspect
import re

import pytest

import etholog

FUNCTIONS = sorted(name for name in dir(etholog) if inspect.isfunction(getattr(etholog, name)))


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_public_function_is_told_whole(name: str) -> None:
    function = getattr(etholog, name)
    said = inspect.getdoc(function) or ""
    assert re.match("Return[ ,]", said), "the first line says what it returns"
    parts = re.findall(r"^(\w+)\n-+$", said, re.MULTILINE)
    assert parts[:3] == ["Parameters", "Returns", "Raises"]
    assert ">>> " in said
    told = said[said.index("Parameters") : said.index("Returns\n")]
    missing = [one for one in inspect.signature(function).parameters if not re.search(rf"\b{one}\b", told)]
    assert not missing, "each parameter is told of"
