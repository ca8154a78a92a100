"""Options about sound, the same for `make` and `play`.

In: the values of the options. Out: a `RecordingRequest`. Whether the packages that sound needs are installed is checked here too.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import click

from lickwright.cli.option_types import OneOf, add_options, parsed_by
from lickwright.core.extras import install_command
from lickwright.export import SOUND_FORMATS, RecordingRequest
from lickwright.export.option_parsing import COUNT_INS, LONGEST, REPEATS
from lickwright.music.practice import MINUTES, Ladder, parse_bars, parse_ladder

if TYPE_CHECKING:
    from lickwright.music.instruments import InstrumentRow

_DEFAULT = RecordingRequest()
_NO_SOUNDS: Mapping[str, InstrumentRow] = MappingProxyType({})
_LADDER_GIVEN = "lickwright.ladder"  # key of the click context: the command line has a ladder


def _ladder(context: click.Context, parameter: click.Parameter, value: str | None) -> Ladder | None:
    if value is not None:
        context.meta[_LADDER_GIVEN] = True
    return parsed_by(parse_ladder)(context, parameter, value)


_PLAYING = (
    click.option(
        "--bars",
        callback=parsed_by(parse_bars),
        metavar="FIRST-LAST",
        help="A part of the lick, bars counted as over the tab: 1-2, or 3 alone; a pick-up is 0.",
    ),
    click.option(
        "--count-in",
        type=click.IntRange(*COUNT_INS),
        default=_DEFAULT.count_in,
        metavar="BARS",
        help="Bars of clicks before the lick.",
    ),
    click.option("--click/--no-click", help="The click goes on under the lick."),
    click.option(
        "--repeat",
        type=click.IntRange(*REPEATS),
        metavar="TIMES",
        help="Times through the lick; default: once, and twice on each rung of a ladder.",
    ),
    click.option("--answer/--no-answer", help="After each time through, a silence of the same length for your answer."),
    click.option("--backing/--no-backing", help="Hold the lick's chords under it, or its key's tonic and fifth."),
    click.option(
        "--sound",
        metavar="NAME",
        help="What it is played on, instead of what the lick says: one of the sounds, or your own of lickwright.toml.",
    ),
    click.option(
        "--vary",
        type=click.IntRange(0, 2**31 - 1),
        metavar="SEED",
        help="Vary the strokes a little, as a player's hand does.",
    ),
)
_FILES = (
    click.option(
        "--format",
        type=OneOf(*SOUND_FORMATS),
        default=_DEFAULT.format,
        show_default=True,
        help="The format of recordings.",
    ),
    click.option("--practice/--no-practice", help="The practice set: slow, medium, full and a ladder that climbs."),
    click.option(
        "--ladder",
        callback=_ladder,
        metavar="START,STEP,TOP",
        help=f"Make the practice set with this ladder; default: {_DEFAULT.ladder}. STEP is in beats a minute.",
    ),
    click.option(
        "--longest",
        type=click.IntRange(*LONGEST),
        metavar="SECONDS",
        help=f"How long a recording may last; default: {MINUTES} minutes.",
    ),
)

playing_options = add_options(_PLAYING)
recording_options = add_options((*_PLAYING, *_FILES))


def requested_audio(value: Callable[[str], Any], own: Mapping[str, InstrumentRow] = _NO_SOUNDS) -> RecordingRequest:
    """Return the recording that the options ask for; a ladder on the command line asks for the practice set.

    `value` returns the value of an option, or None if the command has no such option; `own` are the sounds of the house. Raises UsageError.
    """
    names = ("format", "practice", "count_in", "click", "repeat", "answer", "backing", "ladder", "vary", "longest")
    given = {name: value(name) for name in names}
    if (name := value("sound")) is not None:
        given["sound"] = _sound(name, own)
    given["practice"] = given["practice"] or click.get_current_context().meta.get(_LADDER_GIVEN)
    return RecordingRequest(**{name: one for name, one in given.items() if one is not None})


def _sound(name: str, own: Mapping[str, InstrumentRow]) -> InstrumentRow:
    from lickwright.music.custom_sound import find_sound

    try:
        return find_sound(name, own)
    except ValueError as e:
        raise click.UsageError(f"--sound: {e}") from None


def require_sound() -> None:
    """Prepare to make sound. Raises UsageError if a package that it needs is not installed."""
    from importlib.util import find_spec

    missing = [name for name in ("numpy", "soundfile") if find_spec(name) is None]
    if missing:
        raise click.UsageError(f"sound needs {' and '.join(missing)}: {install_command('audio')}")
    keep_numpy_single()


def keep_numpy_single() -> None:
    """Keep numpy, once it is loaded, from starting a thread per core that would stay idle."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
