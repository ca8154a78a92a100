"""A stand-in for the module `sounddevice`: streams with callbacks in blocks, latencies, flags, and a player in the room who hears what is played.

Time is that of the stream: nothing waits. What the device plays is heard later by its output latency, and what sounds comes in later by its input latency.
"""

from __future__ import annotations

import threading
import types
from collections.abc import Callable
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import numpy as np

Samples = np.ndarray


class PortAudioError(Exception):
    """What the library raises."""


@dataclass
class FakeDevice:
    """One sound device, and what becomes of it."""

    room: Samples  # at the device's rate: what sounds, from the first frame of the stream on, as it is in the air
    rate: int = 48_000
    rates: tuple[int, ...] = (44_100, 48_000)  # that it takes
    inputs: int = 1
    outputs: int = 2
    latency: tuple[float, float] = (0.0, 0.0)  # seconds
    block: int = 512
    channel: int | None = None  # of the input that the guitar is in; None: all
    vanishes: int | None = None  # frames after which no callback comes any more
    aborts: bool = False  # and the stream says that it is over
    flags: dict[int, str] = field(default_factory=dict)  # flags by number of callback
    at_callback: Callable[[int], None] = lambda number: None
    refuses: str = ""  # words with which opening a stream fails
    played: list[Samples] = field(default_factory=list)
    opened: int = 0
    closed: int = 0

    @property
    def sound(self) -> Samples:
        """All that was played, shape (frames, channels)."""
        return np.concatenate(self.played)

    def incoming(self, first: int, count: int) -> Samples:
        """What the input gives for these frames: the room, later by the input latency."""
        at = np.arange(first, first + count) - round(self.latency[0] * self.rate)
        wave = np.where((at >= 0) & (at < len(self.room)), self.room[np.clip(at, 0, len(self.room) - 1)], 0)
        out = np.zeros((count, self.inputs), np.float32)
        out[:, slice(None) if self.channel is None else self.channel] = wave[:, None] if self.channel is None else wave
        return out


class _Stop(Exception):
    pass


class _Stream:
    """As `sounddevice.Stream`: opened at once, and started when that is asked for."""

    def __init__(self, device: FakeDevice, **asked: Any) -> None:
        if device.refuses:
            raise PortAudioError(device.refuses)
        assert asked["samplerate"] == device.rate
        assert asked["channels"] == (device.inputs, min(2, device.outputs))
        assert asked["dtype"] == "float32"
        device.opened += 1
        self._device, self._asked = device, asked
        self.latency = device.latency
        self._thread = threading.Thread(target=self._run)
        self._over = threading.Event()

    def start(self) -> None:
        self._thread.start()

    def abort(self) -> None:
        self._over.set()

    def close(self) -> None:
        self._over.set()
        if self._thread.ident is not None:
            self._thread.join()
        self._device.closed += 1

    def _run(self) -> None:
        device, number = self._device, 0
        while not self._over.is_set():
            first = number * device.block
            if device.vanishes is not None and first >= device.vanishes:
                if device.aborts:
                    self._asked["finished_callback"]()
                return
            flag = device.flags.get(number, "")
            status = SimpleNamespace(
                input_overflow=flag == "input_overflow", output_underflow=flag == "output_underflow"
            )
            out = np.full((device.block, min(2, device.outputs)), np.nan, np.float32)
            device.at_callback(number)
            try:
                self._asked["callback"](device.incoming(first, device.block), out, device.block, None, status)
            except _Stop:
                device.played.append(out)
                self._asked["finished_callback"]()
                return
            device.played.append(out)
            number += 1


def sounddevice(device: FakeDevice | None) -> types.ModuleType:
    """The module, with this device as default for both sides; with None there is none."""
    module = types.ModuleType("sounddevice")

    def query_devices(kind: str) -> dict[str, Any]:
        if device is None:
            raise PortAudioError("Error querying device -1")
        return {
            "name": "default",
            "max_input_channels": device.inputs,
            "max_output_channels": device.outputs,
            "default_samplerate": float(device.rate),
        }

    def check(channels: int, dtype: str, samplerate: float) -> None:
        assert device is not None
        if samplerate not in device.rates:
            raise PortAudioError("Invalid sample rate [PaErrorCode -9997]")

    members = {
        "PortAudioError": PortAudioError, "CallbackStop": _Stop, "query_devices": query_devices, "check_input_settings": check,
        "check_output_settings": check, "Stream": lambda **asked: _Stream(device, **asked),  # type: ignore[arg-type]
    }  # fmt: skip
    for name, value in members.items():
        setattr(module, name, value)
    return module
