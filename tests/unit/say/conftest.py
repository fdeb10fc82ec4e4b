"""The invented book of the figures, for the sentences about it."""

from tests.unit.figures.conftest import lobby

__all__ = ["lobby"]
