"""Values that are not changed once made, and are quick to make.

In: a class with fields. Out: the same as a dataclass with slots. Knows nothing of licks.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeVar, dataclass_transform

T = TypeVar("T")


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def record(cls: type[T]) -> type[T]:
    """A frozen dataclass to whoever checks the types. At run time nothing guards it.

    A guarded one takes four times as long to make, of which a library has a million, and twice as long to define, at every start.
    """
    return dataclass(slots=True, unsafe_hash=True)(cls)
