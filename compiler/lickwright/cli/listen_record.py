"""Recording through the sound device for `lickwright listen --record`, with a count-in and a click in the headphones.

In: a lick and how many seconds. Out: a `Recording`. It is kept in memory and nowhere else, unless a file is named for it. The time that the click takes to
the ears and that the sound takes back, as the device reports it, is taken off.
"""

from __future__ import annotations

import time
from threading import Event
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from lickwright.cli import terminal
from lickwright.cli.sound_device import find_sound_device
from lickwright.report.console import counted_noun, safe_text
from lickwright.timeline.model import Timeline

if TYPE_CHECKING:
    from lickwright.listen.recording import Recording
    from lickwright.listen.take_buffer import TakeBuffer

_INSTEAD = "record with a telephone, and name its file instead"
_NO_DEVICE = f"there is no microphone or sound device to record with; {_INSTEAD}"
_MUTE = "the microphone gave no sound at all: check that it is on, and that programs are allowed to use it"
_MOST_CHANNELS = 2  # a guitar may be in the second input of a device
_SILENT_FOR = 3.0  # seconds without a sign of the device after which it is given up
_LEAST = 1.0  # seconds after the count-in that are worth judging


class TakenSound(NamedTuple):
    """What was recorded."""

    recording: Recording
    wave: bytes  # the same as the bytes of a WAV file; empty where it is not to be kept
    notes: tuple[str, ...]  # what went wrong, in words


class _Format(NamedTuple):
    """What the device is asked for."""

    rate: int  # samples a second
    inputs: int  # channels
    outputs: int


def record_take(timeline: Timeline, seconds: int, percent: float, keep: bool) -> TakenSound:
    """Record so many seconds after a bar of clicks; Ctrl-C ends it earlier, and what was played until then is returned.

    Raises UsageError where there is nothing to record with, and KeyboardInterrupt where next to nothing was recorded yet.
    """
    from lickwright.listen.click_track import click_track
    from lickwright.listen.recording import resample_recording
    from lickwright.listen.sound_file import count_full, encode_recording, level_notes
    from lickwright.listen.take_buffer import TakeBuffer

    device = find_sound_device("recording", ("input", "output"), _NO_DEVICE)
    form = _format(device)
    clicks = click_track(timeline, percent, seconds, form.rate)
    words = (
        f"a bar of clicks, {clicks.count_in:.0f} seconds, then play; after {seconds} seconds it ends, or with Ctrl-C"
    )
    terminal.err(f"headphones on: {words}\n")
    run = _Run(device, form)
    try:
        said = run.record(lambda latency: TakeBuffer(clicks, form.rate, form.inputs, latency))
    except device.PortAudioError as e:
        raise click.UsageError(f"the sound device gave up: {safe_text(str(e))}; {_INSTEAD}") from None
    buffer = run.buffer
    if buffer is None or buffer.seconds < _LEAST:
        if run.interrupt is not None:
            raise run.interrupt
        raise click.UsageError(f"the sound device stopped before anything was recorded; {_INSTEAD}")
    notes = [f"{said} after {buffer.seconds:.0f} seconds: what was played until then is judged"] if said else []
    take = buffer.take()
    notes += level_notes(count_full(take), take.size) if take.any() else (_MUTE,)
    blocks = (take[n : n + form.rate] for n in range(0, len(take), form.rate))
    wave = encode_recording(take, form.rate) if keep else b""
    return TakenSound(resample_recording(blocks, form.rate), wave, (*notes, *run.losses()))


def _format(device: Any) -> _Format:
    """Return a sample rate and numbers of channels that both sides of the device accept. Raises UsageError where there are none."""
    from lickwright.listen.click_track import CLICK_RATE

    sides = [device.query_devices(kind=kind) for kind in ("input", "output")]
    inputs = min(_MOST_CHANNELS, int(sides[0]["max_input_channels"]))
    outputs = min(2, int(sides[1]["max_output_channels"]))
    if not inputs or not outputs:
        raise click.UsageError(_NO_DEVICE)
    for rate in dict.fromkeys((CLICK_RATE, *(round(side["default_samplerate"]) for side in sides), 44_100)):
        try:
            device.check_input_settings(channels=inputs, dtype="float32", samplerate=rate)
            device.check_output_settings(channels=outputs, dtype="float32", samplerate=rate)
        except (device.PortAudioError, ValueError):
            continue
        return _Format(rate, inputs, outputs)
    raise click.UsageError(
        f"microphone and headphones cannot be used together: they have no sample rate in common; {_INSTEAD}"
    )


class _Run:
    """One recording on a device, which calls `_turn` from a thread of its own."""

    def __init__(self, device: Any, form: _Format) -> None:
        self._device, self._form = device, form
        self.buffer: TakeBuffer | None = None
        self.interrupt: KeyboardInterrupt | None = None
        self._lost = self._late = 0  # blocks that came with holes, and clicks that came too late
        self._ended = Event()

    def record(self, make_buffer: Any) -> str:
        """Record until the buffer that is made for the latency is full; return why it ended earlier, "" if it did not. Raises PortAudioError."""
        form = self._form
        stream = self._device.Stream(
            samplerate=form.rate, channels=(form.inputs, form.outputs), dtype="float32", callback=self._turn, finished_callback=self._ended.set
        )  # fmt: skip
        try:
            self.buffer = make_buffer(sum(stream.latency))
            stream.start()
            said = self._wait(self.buffer)
            if said:
                stream.abort()  # a device that is gone would let a stop wait for what is still to be played
            return said
        except KeyboardInterrupt as e:
            if getattr(e, "code", terminal.Exit.STOPPED) is not terminal.Exit.STOPPED:
                raise
            self.interrupt = e
            return "stopped"
        finally:
            stream.close()

    def _wait(self, buffer: TakeBuffer) -> str:
        """Wait until the buffer is full, or will not become so."""
        seen, since = -1, time.monotonic()
        while not self._ended.wait(0.05):
            if buffer.done != seen:
                seen, since = buffer.done, time.monotonic()
            elif time.monotonic() - since > _SILENT_FOR:
                return "the sound device stopped"
        return "" if buffer.full else "the sound device stopped"

    def _turn(self, heard: Any, out: Any, frames: int, when: object, status: Any) -> None:
        """Take the block that was heard, and give the one that is played next."""
        self._lost += bool(status and status.input_overflow)
        self._late += bool(status and status.output_underflow)
        assert self.buffer is not None  # it is made before the stream starts
        self.buffer.turn(heard, out)
        if self.buffer.full:
            raise self._device.CallbackStop

    def losses(self) -> tuple[str, ...]:
        """Return in words what the computer was too slow for."""
        said = []
        if self._lost:
            times = counted_noun(self._lost, "time")
            said.append(f"the computer was too slow {times}, and some sound is lost: close other programs")
        if self._late:
            said.append(f"the click stumbled {counted_noun(self._late, 'time')}: close other programs")
        return tuple(said)
