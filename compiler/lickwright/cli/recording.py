"""Options about sound, the same for `make` and `play`.

In: what follows the command on its line. Out: a `Recording`. Whether sound can be made here at all is asked here too.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from lickwright.backends import SOUND_FORMATS, Recording
from lickwright.music.practice import Ladder, parse_ladder
from lickwright.report import safe

_Command = TypeVar("_Command", bound=Callable[..., Any])
_KEPT = "lickwright.recording"  # where a context keeps what was asked so far
MAX_REPEAT, MAX_COUNT_IN = 100, 8


def _keep(context: click.Context, parameter: click.Parameter, value: Any) -> None:
    if value is not None:
        context.meta.setdefault(_KEPT, {})[parameter.name] = value


def _keep_ladder(context: click.Context, parameter: click.Parameter, value: str | None) -> None:
    if value is not None:
        try:
            _keep(context, parameter, parse_ladder(value))
        except ValueError as e:
            raise click.BadParameter(safe(str(e))) from None


def _option(*names: str, callback: Callable[..., None] = _keep, **settings: Any) -> Callable[[_Command], _Command]:
    return click.option(*names, expose_value=False, callback=callback, default=None, **settings)


_PLAYING = (
    _option("--count-in", type=click.IntRange(0, MAX_COUNT_IN), metavar="BARS", help="Bars of clicks before the lick."),
    _option("--click", is_flag=True, help="The click goes on under the lick."),
    _option("--repeat", type=click.IntRange(1, MAX_REPEAT), metavar="TIMES", help="Times through the lick."),
    _option("--backing", is_flag=True, help="Hold the lick's chords under it, or its key's tonic and fifth."),
    _option("--vary", type=click.IntRange(0, 2**31 - 1), metavar="SEED", help="Vary strokes a little, as a hand does."),
)
_MAKING = (
    _option("--format", type=click.Choice(SOUND_FORMATS), help="Of a recording; wav if not said."),
    _option("--practice", is_flag=True, help="The practice set: slow, medium, full and a ladder that climbs."),
    _option(
        "--ladder",
        callback=_keep_ladder,
        metavar="START,STEP,TOP",
        help=f"The ladder of --practice: {Ladder()} if not said (beats a minute between).",
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


def asked() -> Recording:
    """What the command line asks for."""
    return Recording(**click.get_current_context().meta.get(_KEPT, {}))


def need_sound() -> None:
    """UsageError where the extra that sound wants is not installed."""
    from importlib.util import find_spec

    missing = [name for name in ("numpy", "soundfile") if find_spec(name) is None]
    if missing:
        raise click.UsageError(f"sound wants {' and '.join(missing)}: pip install 'lickwright[audio]'")
