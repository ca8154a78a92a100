"""Recording through the sound device for `lickwright listen --record`, with a count-in and a click in the headphones.

In: a lick and how many seconds. Out: a `Recording`. It is kept in memory and nowhere else, unless a file is named for it.
"""

from __future__ import annotations

from typing import Any

import click

from lickwright.cli import terminal
from lickwright.core.extras import install_command
from lickwright.listen.recording import Recording
from lickwright.timeline.model import Timeline

_NO_DEVICE = "there is no microphone or sound device to record with; record with a telephone, and name its file instead"


def record_take(timeline: Timeline, seconds: int, percent: float) -> tuple[Recording, bytes]:
    """Record so many seconds after a bar of clicks; return the recording, and the same as the bytes of a WAV file.

    Raises UsageError where there is nothing to record with.
    """
    from lickwright.listen.click_track import CLICK_RATE, click_track
    from lickwright.listen.recording import resample_recording
    from lickwright.listen.sound_file import encode_recording

    device = _input_device()
    clicks, count_in = click_track(timeline, percent, seconds)
    terminal.err(f"headphones on: a bar of clicks, {count_in:.0f} seconds, then play; Ctrl-C stops\n")
    try:
        samples = device.playrec(
            clicks.reshape(-1, 1), samplerate=CLICK_RATE, channels=1, dtype="float32", blocking=True
        )
    except device.PortAudioError as e:
        raise click.UsageError(f"the sound device gave up: {e}") from None
    samples = samples[round(count_in * CLICK_RATE) :]
    return resample_recording([samples], CLICK_RATE), encode_recording(samples, CLICK_RATE)


def _input_device() -> Any:
    """Return the library that speaks to the sound device. Raises UsageError if it is missing or finds no device."""
    try:
        import sounddevice
    except ImportError:
        raise click.UsageError(f"recording needs sounddevice: {install_command('play')}") from None
    except OSError:  # it found no PortAudio, the system's own part of it
        raise click.UsageError(
            "recording needs PortAudio; install it with your system's packages, for example libportaudio2"
        ) from None
    try:
        for kind in ("input", "output"):
            sounddevice.query_devices(kind=kind)
    except (sounddevice.PortAudioError, ValueError):
        raise click.UsageError(_NO_DEVICE) from None
    return sounddevice
