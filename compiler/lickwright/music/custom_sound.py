"""A sound of one's own: one of the table's, with a few of its numbers changed within bounds.

In: settings by name, as a `lickwright.toml` has them. Out: an `InstrumentRow`, and mistakes in a player's words. What a number means in hertz and
meters is the table's business (`instruments.py`).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from lickwright.core.diagnostics import one_of
from lickwright.core.nearest_name import nearest_name
from lickwright.music.instruments import DEFAULT_INSTRUMENT, INSTRUMENTS, Guitar, InstrumentRow

NAME = re.compile("[a-z][a-z0-9-]{0,30}")


class SoundSetting(NamedTuple):
    """One number or word of a sound."""

    name: str
    summary: str
    parse: Callable[[Any], Any]  # raises ValueError in a player's words
    changed: Callable[[Guitar, Any], Guitar]
    electric: bool  # only a guitar with a pickup has it


def _number(low: float, high: float) -> Callable[[Any], float]:
    def parse(value: Any) -> float:
        if isinstance(value, str) and re.fullmatch(r"-?[0-9.]{1,8}", value):
            raise ValueError(f"a number is written without quotes: {value}")
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise ValueError(f"a number from {low:g} to {high:g} is needed")
        return float(value)

    return parse


def _word(known: tuple[str, ...]) -> Callable[[Any], str]:
    parse = one_of(known)

    def read(value: Any) -> str:
        if not isinstance(value, str):
            raise ValueError(f"one of these words in quotes is needed: {', '.join(known)}")
        return parse(value)

    return read


def _with_cabinet(guitar: Guitar, name: str) -> Guitar:
    if name == "none":
        return guitar._replace(post=(), body=())
    other = INSTRUMENTS[name].guitar
    return guitar._replace(post=other.post, body=other.body)


def _with_squeak(guitar: Guitar, share: float) -> Guitar:
    squeak = guitar.squeak
    return guitar._replace(squeak=squeak._replace(level=share * squeak.level) if squeak is not None and share else None)


_ELECTRIC = tuple(name for name, row in INSTRUMENTS.items() if row.guitar.pickup is not None)
BASE = "like"
SOUND_SETTINGS: tuple[SoundSetting, ...] = (
    SoundSetting(BASE, f"the sound that it begins with: {', '.join(INSTRUMENTS)}", _word(tuple(INSTRUMENTS)),
                 lambda guitar, _: guitar, False),
    SoundSetting("pick", "where it is picked: millimeters from the bridge, 20 to 250", _number(20, 250),
                 lambda guitar, mm: guitar._replace(pick=mm / 1000), False),
    SoundSetting("pickup", "where the pickup is: millimeters from the bridge, 15 to 200", _number(15, 200),
                 lambda guitar, mm: guitar._replace(pickup=mm / 1000), True),
    SoundSetting("drive", "how hard the amplifier is driven, 0 to 150: crunch has 75 after a compressor", _number(0, 150),
                 lambda guitar, gain: guitar._replace(drive=gain), True),
    SoundSetting("compression", "how much louder notes are turned down, 0 to 0.8", _number(0, 0.8),
                 lambda guitar, share: guitar._replace(compression=share), True),
    SoundSetting("cabinet", f"the loudspeaker of another sound: {', '.join(_ELECTRIC)}, or none", _word((*_ELECTRIC, "none")),
                 _with_cabinet, True),
    SoundSetting("squeak", "how loud fingers squeak on wound strings when the hand goes along them: 1 as in the sound that it is like, 0 not at all, 4 at most",
                 _number(0, 4), _with_squeak, False),
    SoundSetting("room", "how loud the room is against the guitar, in decibels, -60 to -6", _number(-60, -6),
                 lambda guitar, level: guitar._replace(room=level), False),
)  # fmt: skip
BY_NAME = {setting.name: setting for setting in SOUND_SETTINGS}


class SoundMistake(NamedTuple):
    """What is wrong with a sound."""

    setting: str  # "" for the sound itself
    message: str
    hint: str
    unknown: bool = False  # the sound has no such setting


def read_sound(name: str, settings: Mapping[str, Any]) -> tuple[InstrumentRow, list[SoundMistake]]:
    """Return the sound `name` and all mistakes in its settings, which are left out of it."""
    mistakes = []
    if name in INSTRUMENTS:
        mistakes.append(SoundMistake("", f"`{name}` is a sound already", "give yours a name of its own"))
    elif not NAME.fullmatch(name):
        hint = "small letters, digits and hyphens: [sounds.mine]"
        mistakes.append(SoundMistake("", f"`{name[:30]}` cannot be a sound's name", hint))
    read: dict[str, Any] = {}
    for key, value in settings.items():
        setting = BY_NAME.get(key)
        if setting is None:
            near = nearest_name(key, tuple(BY_NAME))
            hint = f"did you mean `{near}`?" if near else f"there are {', '.join(BY_NAME)}"
            mistakes.append(SoundMistake(key, f"a sound has no `{key[:30]}`", hint, unknown=True))
            continue
        try:
            read[key] = setting.parse(value)
        except ValueError as e:
            mistakes.append(SoundMistake(key, str(e), f"`{key}`: {setting.summary}"))
    like = INSTRUMENTS[read.pop(BASE, DEFAULT_INSTRUMENT)]
    guitar = like.guitar
    for key, value in read.items():
        if BY_NAME[key].electric and guitar.pickup is None:
            hint = f"those like {', '.join(_ELECTRIC)} have one"
            mistakes.append(SoundMistake(key, f"a sound like {like.name} has no `{key}`", hint, unknown=True))
        else:
            guitar = BY_NAME[key].changed(guitar, value)
    return like._replace(name=name, guitar=guitar), mistakes


def find_sound(name: str, own: Mapping[str, InstrumentRow]) -> InstrumentRow:
    """Return the sound called `name`, of the table or of a house. Raises ValueError, which names the nearest."""
    known = {**INSTRUMENTS, **own}
    return known[one_of(tuple(known))(name)]


def sound_settings_table() -> str:
    """Return the settings as the table in the reference, in Markdown."""
    lines = ["| name | what it says |", "|---|---|"]
    lines += [f"| `{setting.name}` | {setting.summary} |" for setting in SOUND_SETTINGS]
    return "\n".join(lines) + "\n"
