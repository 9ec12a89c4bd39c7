"""Every public function and figure says what it takes and returns, what it refuses, and shows one example that runs."""

import inspect
import re

import pytest

import etholog
from etholog import figures

FUNCTIONS = {
    f"{module.__name__}.{name}": function
    for module, names in ((etholog, dir(etholog)), (figures, figures.__all__))
    for name in names
    if inspect.isfunction(function := getattr(module, name))
}


@pytest.mark.parametrize("name", sorted(FUNCTIONS))
def test_a_public_function_is_told_whole(name: str) -> None:
    function = FUNCTIONS[name]
    said = inspect.getdoc(function) or ""
    assert re.match(r"Return[ ,]", said), "the first line says what it returns"
    parts = re.findall(r"^(\w+)\n-+$", said, re.MULTILINE)
    assert parts[:3] == ["Parameters", "Returns", "Raises"]
    assert set(parts[3:]) <= {"References", "Examples"}
    assert ">>> import " in said
    told = said[said.index("Parameters") : said.index("Returns\n")]
    # A parameter opens its line, alone or in a row of them: 'times: ...', 'permutations, seed: ...'.
    missing = [
        one
        for one in inspect.signature(function).parameters
        if not re.search(rf"^(\w+, )*{one}(, \w+)*(:|$)", told, re.MULTILINE)
    ]
    assert not missing, "each parameter is told of"
