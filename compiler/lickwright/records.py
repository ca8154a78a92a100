"""Values that are not changed once made, and are quick to make and to look up.

In: a class with fields, or an enumeration. Out: what looks the same to whoever checks the types. Knows nothing of licks.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum
from typing import Any, TypeVar, cast, dataclass_transform

T = TypeVar("T")


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def record(cls: type[T]) -> type[T]:
    """A frozen dataclass to whoever checks the types. At run time nothing guards it.

    A guarded one takes four times as long to make, of which a library has a million, and twice as long to define, at every start.
    """
    return dataclass(slots=True, unsafe_hash=True)(cls)


class _Members:
    """The members of an enumeration as attributes of a plain object."""

    def __init__(self, enumeration: type[Enum]) -> None:
        self.__dict__.update(enumeration.__members__)
        self.enumeration = enumeration
        enumeration.__qualname__ += ".enumeration"  # where pickle finds it

    def __iter__(self) -> Iterator[Enum]:
        return iter(self.enumeration)


def quick(enumeration: type[T]) -> type[T]:
    """An enumeration to whoever checks the types; at run time an object with its members, to look up and to go through.

    Python 3.11 takes twelve times as long to look up a member in the class itself, and a lick asks for a thousand.
    """
    return cast(type[T], _Members(cast(Any, enumeration)))
