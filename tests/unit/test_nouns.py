"""A noun is what the standard library's frozen dataclass is, though written later."""

from __future__ import annotations

import copy
import dataclasses
import pickle
from dataclasses import FrozenInstanceError, field, replace

import pytest

from growthcast.nouns import dataclass


@dataclass(frozen=True, slots=True)
class Cut:
    """A noun with every kind of field the house uses."""

    area_id: str
    height_cm: float = 3.0
    notes: list[str] = field(default_factory=list)
    seen: int = field(default=0, compare=False)


@dataclasses.dataclass(frozen=True, slots=True)
class Standard:
    """The same, by the standard library."""

    area_id: str
    height_cm: float = 3.0
    notes: list[str] = field(default_factory=list)
    seen: int = field(default=0, compare=False)


@pytest.mark.parametrize("kind", [Cut, Standard])
def test_a_noun_behaves_as_the_standard_dataclass(kind: type[Cut]) -> None:
    cut = kind("stems", notes=["low"])
    assert (cut.area_id, cut.height_cm, cut.notes, cut.seen) == ("stems", 3.0, ["low"], 0)
    assert repr(cut) == f"{kind.__name__}(area_id='stems', height_cm=3.0, notes=['low'], seen=0)"
    assert kind("a").notes is not kind("a").notes
    assert replace(cut, seen=4) == cut
    assert replace(cut, height_cm=2.0) != cut
    assert cut != ("stems", 3.0, ["low"], 0)
    assert hash(kind("a", 1.0, ())) == hash(kind("a", 1.0, (), 7))  # type: ignore[arg-type]
    with pytest.raises(FrozenInstanceError, match="cannot assign to field 'height_cm'"):
        cut.height_cm = 1.0  # type: ignore[misc]
    with pytest.raises(FrozenInstanceError, match="cannot delete field"):
        del cut.height_cm
    with pytest.raises(TypeError, match="area_id"):
        kind()  # type: ignore[call-arg]
    with pytest.raises(TypeError, match="height"):
        kind("a", height=2.0)  # type: ignore[call-arg]
    assert not hasattr(cut, "__dict__")
    assert pickle.loads(pickle.dumps(cut)) == copy.deepcopy(cut) == cut
    assert [f.name for f in dataclasses.fields(kind)] == ["area_id", "height_cm", "notes", "seen"]
    match cut:
        case kind(area_id, height_cm):
            assert (area_id, height_cm) == ("stems", 3.0)


def test_a_method_that_a_noun_writes_itself_stays() -> None:
    @dataclass(frozen=True, eq=False)
    class Named:
        name: str

        def __repr__(self) -> str:
            return self.name

    assert repr(Named("moss")) == "moss"
    assert Named("moss") != Named("moss")
