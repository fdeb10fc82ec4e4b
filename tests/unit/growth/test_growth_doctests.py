"""The examples in the docstrings of the growth room run and are right."""

import doctest
from types import FunctionType

import pytest

from growthcast.growth import logistic, normal, photo, quick, responses, water


def offered(module):
    """Return the functions of a module that others may call."""
    functions = {n: f for n, f in vars(module).items() if isinstance(f, FunctionType)}
    own = {n: f for n, f in functions.items() if f.__module__ == module.__name__}
    return {name: function for name, function in own.items() if not name.startswith("_")}


ROOM = [logistic, normal, photo, quick, responses, water]


@pytest.mark.parametrize("module", ROOM, ids=lambda m: m.__name__)
def test_examples(module):
    result = doctest.testmod(module)
    assert result.failed == 0
    # one example for every public function at least
    assert result.attempted >= len(offered(module)) > 0


@pytest.mark.parametrize("module", [logistic, responses, water], ids=lambda m: m.__name__)
def test_every_public_function_has_all_sections(module):
    for name, function in offered(module).items():
        text = function.__doc__
        for section in ("Parameters", "Returns", "Notes", "Examples"):
            assert f"{section}\n    ---" in text, f"{name} lacks {section}"
        assert "[" in text, f"{name} names no unit"
