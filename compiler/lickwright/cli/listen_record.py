"""Recording through the sound device for `lickwright listen --record`, with a count-in and a click in the headphones.

In: a lick and how many seconds. Out: a `Recording`. It is kept in memory and nowhere else, unless a file is named for it.
"""

from __future__ import annotations

import click

from lickwright.cli import terminal
from lickwright.cli.sound_device import find_sound_device
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

    device = find_sound_device("recording", ("input", "output"), _NO_DEVICE)
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
