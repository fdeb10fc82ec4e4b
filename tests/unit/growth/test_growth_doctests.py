"""The examples in the docstrings of the growth room run and are right."""

import doctest
from types import FunctionType

import pytest

from growthcast.growth import logistic, quick, responses, water


@pytest.mark.parametrize("module", [logistic, quick, responses, water], ids=lambda m: m.__name__)
def test_examples(module):
    result = doctest.testmod(module)
    assert result.failed == 0
    # one example for every public function at least
    functions = [n for n in module.__all__ if callable(getattr(module, n)) and n.islower()]
    assert result.attempted >= len(functions) > 0


@pytest.mark.parametrize("module", [logistic, responses, water], ids=lambda m: m.__name__)
def test_every_public_function_has_all_sections(module):
    for name in module.__all__:
        function = getattr(module, name)
        if not isinstance(function, FunctionType):
            continue
        text = function.__doc__
        for section in ("Parameters", "Returns", "Notes", "Examples"):
            assert f"{section}\n    ---" in text, f"{name} lacks {section}"
        assert "[" in text, f"{name} names no unit"
