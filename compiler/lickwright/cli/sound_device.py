"""The library that speaks to the sound device, for the commands that play and record.

In: what it is needed for. Out: the module `sounddevice`, of the extra `lickwright[play]`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import click

from lickwright.core.extras import install_command


def find_sound_device(activity: str, kinds: Sequence[str], absent: str) -> Any:
    """Return the library, where there is a default device of each of the kinds, "input" and "output".

    Raises UsageError if the library is missing, which names the activity, or with the words `absent` if a device is.
    """
    try:
        import sounddevice
    except ImportError:
        raise click.UsageError(f"{activity} needs sounddevice: {install_command('play')}") from None
    except OSError:  # it found no PortAudio, the system's own part of it
        raise click.UsageError(
            f"{activity} needs PortAudio; install it with your system's packages, for example libportaudio2"
        ) from None
    try:
        for kind in kinds:
            sounddevice.query_devices(kind=kind)
    except (sounddevice.PortAudioError, ValueError):
        raise click.UsageError(absent) from None
    return sounddevice
