"""Records behave as the standard library's dataclasses with slots do, whose tools accept them."""

from __future__ import annotations

import copy
import dataclasses
import inspect
import pickle

import pytest

from lickwright.core.fast_dataclass import field, mutable_record, record, replace


@record
class Base:
    where: int = field(compare=False, repr=False, kw_only=True, default=7)


@record
class Note(Base):
    fret: int
    names: tuple[str, ...] = ()


@mutable_record
class Count:
    seen: list[int] = field(default_factory=list)
    total: int = 0
    half: float = field(init=False, compare=False)
    unit: str = field(init=False, default="beat")

    def __post_init__(self) -> None:
        self.half = self.total / 2


@dataclasses.dataclass(slots=True, unsafe_hash=True)
class StandardBase:
    where: int = dataclasses.field(compare=False, repr=False, kw_only=True, default=7)


@dataclasses.dataclass(slots=True, unsafe_hash=True)
class Standard(StandardBase):
    fret: int
    names: tuple[str, ...] = ()


def test_a_record_says_and_compares_what_a_dataclass_does() -> None:
    note, twin = Note(5, ("A",), where=1), Standard(5, ("A",), where=1)
    assert repr(note).replace("Note", "Standard") == repr(twin) == "Standard(fret=5, names=('A',))"
    assert note == Note(5, ("A",), where=2) and hash(note) == hash(Note(5, ("A",), where=2)) == hash(twin)
    assert note != Note(6, ("A",)) and note != twin and note != 5
    assert isinstance(note, Base) and Note.__match_args__ == Standard.__match_args__
    assert (note.where, Note(5).names, Note(5).where) == (1, (), 7)
    assert Note.__qualname__ == "Note" and Note.__module__ == __name__


def test_its_parameters_are_those_of_a_dataclass() -> None:
    ours, standard = (inspect.signature(cls).parameters for cls in (Note, Standard))
    assert [(p.name, p.kind, p.default) for p in ours.values()] == [
        (p.name, p.kind, p.default) for p in standard.values()
    ]
    with pytest.raises(TypeError):
        Note()  # type: ignore[call-arg]
    with pytest.raises(TypeError):
        Note(1, (), 3)  # type: ignore[call-arg]


def test_it_has_slots_and_nothing_else() -> None:
    assert not hasattr(Note(1), "__dict__")
    with pytest.raises(AttributeError):
        Note(1).other = 2  # type: ignore[attr-defined]


def test_a_mutable_record_changes_and_has_no_hash() -> None:
    count = Count(total=3)
    assert (count.half, count.unit, count.seen) == (1.5, "beat", [])
    assert count.seen is not Count().seen
    count.total = 4
    assert count == Count(total=4) and count != Count(total=3)
    with pytest.raises(TypeError):
        hash(count)


@pytest.mark.parametrize("change", [replace, dataclasses.replace])
def test_replace_keeps_the_other_fields(change) -> None:
    changed = change(Note(5, ("A",), where=1), fret=6)
    assert (changed.fret, changed.names, changed.where) == (6, ("A",), 1)
    with pytest.raises(TypeError):
        change(Note(5), pitch=1)


def test_the_standard_tools_accept_it() -> None:
    assert dataclasses.is_dataclass(Note) and not dataclasses.is_dataclass(int)
    for ours, standard in zip(dataclasses.fields(Note), dataclasses.fields(Standard), strict=True):
        for what in ("name", "default", "init", "repr", "compare", "kw_only"):
            assert getattr(ours, what) == getattr(standard, what), (ours.name, what)
    assert dataclasses.asdict(Note(5)) == {"where": 7, "fret": 5, "names": ()}
    assert [one.name for one in dataclasses.fields(Base)] == ["where"]


@pytest.mark.parametrize("again", [copy.copy, copy.deepcopy, lambda value: pickle.loads(pickle.dumps(value))])
def test_it_is_copied_and_travels(again) -> None:
    note = again(Note(5, ("A",), where=1))
    assert note == Note(5, ("A",)) and note.where == 1
    assert again(Count([1], 3)) == Count([1], 3)


def test_a_field_without_a_default_cannot_follow_one_with() -> None:
    with pytest.raises(TypeError, match="late without a default"):

        @record
        class Wrong:
            early: int = 1
            late: int  # type: ignore[misc]
