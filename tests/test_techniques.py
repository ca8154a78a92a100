"""The table of techniques and its enumerations."""

from __future__ import annotations

import pickle
from enum import StrEnum

import pytest

from lickwright.notation.techniques import TECHNIQUES, Curve, Damping, Stroke, TechniqueKind


@pytest.mark.parametrize("members", [TechniqueKind, Curve, Damping, Stroke])
def test_an_enumeration_is_one(members: type[StrEnum]) -> None:
    """A member is found by its value, is an instance of its class, and comes back from a copy as itself."""
    assert isinstance(members, type) and issubclass(members, StrEnum)
    for member in members:
        assert members(member.value) is member and members[member.name] is member
        assert isinstance(member, members)
        assert pickle.loads(pickle.dumps(member)) is member
    with pytest.raises(ValueError, match="xyz"):
        members("xyz")


def test_a_row_has_members_of_its_enumerations() -> None:
    assert TechniqueKind("join") is TechniqueKind.JOIN
    for row in TECHNIQUES:
        assert isinstance(row.kind, TechniqueKind) and isinstance(row.curve, Curve) and isinstance(row.damping, Damping)
        assert row.stroke is None or isinstance(row.stroke, Stroke)
