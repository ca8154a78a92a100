"""Options about sound, the same for `make` and `play`.

In: what follows the command on its line. Out: a `Recording`. Whether sound can be made here at all is asked here too.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import Any, TypeVar

import click

from lickwright.export import SOUND_FORMATS, Recording
from lickwright.export.option_parsing import COUNT_INS, LONGEST, REPEATS
from lickwright.music.practice import MINUTES, Ladder, parse_bars, parse_ladder
from lickwright.report.console import safe

_Command = TypeVar("_Command", bound=Callable[..., Any])
_USUAL = Recording()
_WANTED = "lickwright.ladder"  # where a context keeps that a ladder was asked for


def _ladder(context: click.Context, parameter: click.Parameter, value: str | None) -> Ladder | None:
    if value is None:
        return None
    context.meta[_WANTED] = True
    try:
        return parse_ladder(value)
    except ValueError as e:
        raise click.BadParameter(safe(str(e))) from None


def _bars(context: click.Context, parameter: click.Parameter, value: str | None) -> tuple[int, int] | None:
    if value is None:
        return None
    try:
        return parse_bars(value)
    except ValueError as e:
        raise click.BadParameter(safe(str(e))) from None


_PLAYING = (
    click.option(
        "--bars",
        callback=_bars,
        metavar="FIRST-LAST",
        help="A part of the lick, bars counted as over the tab: 1-2, or 3 alone; a pick-up is 0.",
    ),
    click.option(
        "--count-in",
        type=click.IntRange(*COUNT_INS),
        default=_USUAL.count_in,
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
        "--vary",
        type=click.IntRange(0, 2**31 - 1),
        metavar="SEED",
        help="Vary the strokes a little, as a player's hand does.",
    ),
)
_MAKING = (
    click.option(
        "--format",
        type=click.Choice(SOUND_FORMATS),
        default=_USUAL.format,
        show_default=True,
        help="Of a recording.",
    ),
    click.option("--practice/--no-practice", help="The practice set: slow, medium, full and a ladder that climbs."),
    click.option(
        "--ladder",
        callback=_ladder,
        metavar="START,STEP,TOP",
        help=f"The ladder of the practice set, and asks for the set; default: {_USUAL.ladder}. STEP is in beats a minute.",
    ),
    click.option(
        "--longest",
        type=click.IntRange(*LONGEST),
        metavar="SECONDS",
        help=f"How long a recording may last; default: {MINUTES} minutes.",
    ),
)


def playing(command: _Command) -> _Command:
    """Adds the options about what is played."""
    for add in reversed(_PLAYING):
        command = add(command)
    return command


def making(command: _Command) -> _Command:
    """Adds those, and the ones about files."""
    for add in reversed((*_PLAYING, *_MAKING)):
        command = add(command)
    return command


def requested_audio(value: Callable[[str], Any]) -> Recording:
    """What is asked for: `value` gives an option's value, None where there is no such option. Who says a ladder wants the set."""
    given = {
        name: value(name)
        for name in (
            "format",
            "practice",
            "count_in",
            "click",
            "repeat",
            "answer",
            "backing",
            "ladder",
            "vary",
            "longest",
        )
    }
    given["practice"] = given["practice"] or click.get_current_context().meta.get(_WANTED)
    return Recording(**{name: one for name, one in given.items() if one is not None})


def need_sound() -> None:
    """UsageError where the extra that sound wants is not installed."""
    from importlib.util import find_spec

    missing = [name for name in ("numpy", "soundfile") if find_spec(name) is None]
    if missing:
        raise click.UsageError(f"sound needs {' and '.join(missing)}: pip install 'lickwright[audio]'")
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # numpy would start a thread a core, for work that there is not
