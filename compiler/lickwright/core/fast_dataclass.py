"""Classes of plain fields that are quick to define and quick to make: `record`, `mutable_record`, `field`, `replace`.

In: a class with annotated fields. Out: the same class with slots, `__init__`, `__eq__`, `__repr__` and, for a record, `__hash__`. The standard
library's `dataclass` does the same; it takes some 0.5 ms a class at every start and imports `inspect`, and one that it freezes takes four
times as long to make. `dataclasses.replace`, `fields` and `is_dataclass` accept these classes too. Nothing here knows of licks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from operator import attrgetter
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar, cast, dataclass_transform

__all__ = ["field", "mutable_record", "record", "replace"]

T = TypeVar("T")
_MISSING: Any = object()


class _Field(NamedTuple):
    """What a class says of one field; see `dataclasses.field` for the meaning of each."""

    default: Any = _MISSING
    default_factory: Any = _MISSING
    init: bool = True
    repr: bool = True
    compare: bool = True
    kw_only: bool = False

    @property
    def has_default(self) -> bool:
        """Whether the field has a value where none is given."""
        return self.default is not _MISSING or self.default_factory is not _MISSING


def _replace(value: T, /, **changes: Any) -> T:
    """Return a copy of a record with other values in some fields. Raises `TypeError` for a name that `__init__` does not take."""
    cls: Any = type(value)
    for name in cls.__record_parameters__:
        if name not in changes:
            changes[name] = getattr(value, name)
    return cast(T, cls(**changes))


if TYPE_CHECKING:  # the type checker knows what these two give
    from dataclasses import field, replace
else:
    field, replace = _Field, _replace


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def record(cls: type[T]) -> type[T]:
    """Return `cls` as a class with slots that is compared and hashed by value.

    It is frozen for the type checker, which refuses an assignment to a field, and not at run time. Raises `TypeError` where a field without
    a default follows one with a default.
    """
    return _with_methods(cls, hashed=True)


@dataclass_transform(field_specifiers=(field,))
def mutable_record(cls: type[T]) -> type[T]:
    """Return `cls` as a class with slots that is compared by value; its fields may change, so that it has no hash. Raises as `record` does."""
    return _with_methods(cls, hashed=False)


class _StandardFields:
    """Makes the `__dataclass_fields__` of a class when something first asks for them."""

    def __get__(self, instance: object, owner: type) -> dict[str, Any]:
        import dataclasses

        specs: dict[str, _Field] = owner.__record_fields__  # type: ignore[attr-defined]
        given = {name: {k: v for k, v in spec._asdict().items() if v is not _MISSING} for name, spec in specs.items()}
        made = dataclasses.make_dataclass(
            owner.__name__, [(name, Any, dataclasses.field(**given[name])) for name in given]
        )
        fields = {one.name: one for one in dataclasses.fields(made)}
        type.__setattr__(owner, "__dataclass_fields__", fields)
        return fields


_STANDARD_FIELDS = _StandardFields()


def _with_methods(cls: type[T], hashed: bool) -> type[T]:
    fields = {name: spec for base in reversed(cls.__mro__[1:]) for name, spec in _own_fields(base)}
    own = {name: _spec(cls.__dict__.get(name, _MISSING)) for name in cls.__annotations__}
    slots = tuple(name for name in own if name not in fields)
    fields |= own
    left_out = {"__dict__", "__weakref__", *fields}  # a default would hide its slot
    namespace = {name: value for name, value in cls.__dict__.items() if name not in left_out}
    made: Any = type(cls.__name__, cls.__bases__, {**_methods(fields, hashed), **namespace, "__slots__": slots})
    made.__qualname__ = cls.__qualname__  # a new class, since slots cannot be given to one that is there
    made.__init__ = _init(made, fields)
    return cast("type[T]", made)


def _methods(fields: dict[str, _Field], hashed: bool) -> dict[str, Any]:
    """Return what a class with these fields has, but for `__init__`."""
    parameters = tuple(name for name, spec in fields.items() if spec.init)
    values = _getter([name for name, spec in fields.items() if spec.compare])
    return {
        "__match_args__": tuple(name for name in parameters if not fields[name].kw_only),
        "__record_fields__": fields,
        "__record_parameters__": parameters,
        "__dataclass_fields__": _STANDARD_FIELDS,
        "__eq__": _eq(values),
        "__hash__": (lambda self: hash(values(self))) if hashed else None,
        "__repr__": _repr([name for name, spec in fields.items() if spec.repr]),
    }


def _own_fields(cls: type) -> Iterable[tuple[str, _Field]]:
    fields: dict[str, _Field] = cls.__dict__.get("__record_fields__", {})
    return fields.items()


def _spec(default: Any) -> _Field:
    return default if isinstance(default, _Field) else _Field(default)


def _init(cls: type, fields: dict[str, _Field]) -> Callable[..., None]:
    """Return `__init__`, the only method that has to be made from text to be fast; the text holds names of fields and nothing else."""
    known: dict[str, Any] = {"_missing": _MISSING}
    positional, keywords, body = ["self"], ["*"], [" pass"]
    given = {
        name: spec for name, spec in fields.items() if spec.init or spec.has_default
    }  # `__post_init__` sets others
    for name, spec in given.items():
        parameter, value = _parameter(name, spec, known)
        body.append(f" self.{name} = {value}")
        if "=" in positional[-1] and "=" not in parameter and not spec.kw_only:
            raise TypeError(f"{cls.__name__}.{name} without a default follows a field with one")
        if spec.init:
            (keywords if spec.kw_only else positional).append(parameter)
    if hasattr(cls, "__post_init__"):
        body.append(" self.__post_init__()")
    parameters = ", ".join(positional + (keywords if len(keywords) > 1 else []))
    methods: dict[str, Any] = {}
    exec(f"def __init__({parameters}):\n" + "\n".join(body), known, methods)
    init: Callable[..., None] = methods["__init__"]
    init.__qualname__ = f"{cls.__qualname__}.__init__"
    return init


def _parameter(name: str, spec: _Field, known: dict[str, Any]) -> tuple[str, str]:
    """Return a field as a parameter and the value that it gets, as text; names that the text uses are put into `known`."""
    if spec.default_factory is not _MISSING:
        known[f"_make_{name}"] = spec.default_factory
        made = f"_make_{name}()"
        return f"{name}=_missing", f"{made} if {name} is _missing else {name}" if spec.init else made
    if spec.default is not _MISSING:
        known[f"_default_{name}"] = spec.default
        return f"{name}=_default_{name}", name if spec.init else f"_default_{name}"
    return name, name


def _getter(names: list[str]) -> Callable[[Any], Any]:
    """Return what gives the values of these fields, in an order that is always the same."""
    return attrgetter(*names) if names else lambda self: ()


def _eq(values: Callable[[Any], Any]) -> Callable[[object, object], bool]:
    def __eq__(self: object, other: object) -> bool:
        if other.__class__ is not self.__class__:
            return NotImplemented
        return bool(values(self) == values(other))

    return __eq__


def _repr(names: list[str]) -> Callable[[object], str]:
    def __repr__(self: object) -> str:
        shown = ", ".join(f"{name}={getattr(self, name)!r}" for name in names)
        return f"{self.__class__.__qualname__}({shown})"

    return __repr__
