"""Names in a sentence."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["and_list"]


def and_list(names: Sequence[str]) -> str:
    """Join names as a sentence does."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
