"""Spectrograms as PNG files, by numpy alone: real recordings above, ours below them.

In: signals and names. Out: files in a folder. Time runs to the right, 0 to 8 kHz upwards; 80 dB from white to black.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import soundfile
from numpy.typing import NDArray

from sound_realism import Wave

if TYPE_CHECKING:
    from sound_real import Plucked

HIGHEST, RANGE = 8000.0, 80.0  # hertz; decibels
SIZE, STEP, SECONDS = 2048, 480, 4.0  # of a frame at 48 kHz, samples from frame to frame, seconds drawn
GAP = 6  # pixels between two spectrograms


def spectrogram(wave: Wave, rate: int) -> NDArray[np.uint8]:
    """Return the picture of one signal, rows from high to low: 255 for nothing."""
    size, step = int(SIZE * rate / 48_000), int(STEP * rate / 48_000)
    part = np.zeros(int(SECONDS * rate))
    part[: len(wave)] = wave[: len(part)]
    frames = np.lib.stride_tricks.sliding_window_view(part, size)[::step]
    levels = 20 * np.log10(np.abs(np.fft.rfft(frames * np.hanning(size), 2 * size, axis=1)) + 1e-9)
    levels = levels[:, : int(HIGHEST * 2 * size / rate)]
    grey = 255 * np.clip((levels.max() - levels) / RANGE, 0, 1)
    rows = np.linspace(grey.shape[1] - 1, 0, 360).astype(int)
    return grey.T[rows].astype(np.uint8)


def write_png(path: Path, picture: NDArray[np.uint8]) -> None:
    """Write a picture in grey."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    height, width = picture.shape
    rows = b"".join(b"\0" + row.tobytes() for row in picture)
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b""))  # fmt: skip


def stacked(pictures: Sequence[NDArray[np.uint8]]) -> NDArray[np.uint8]:
    """Return pictures of one width, one above the other."""
    gap = np.full((GAP, pictures[0].shape[1]), 128, np.uint8)
    return np.concatenate([part for picture in pictures for part in (picture, gap)][:-1])


def draw(
    folder: Path,
    reals: Mapping[str, Sequence[Plucked]],
    ours: Callable[[str], Sequence[Plucked]],
    at_fret: Callable[[str, int, int], Wave],
    phrases: Sequence[Path],
    our_phrases: Mapping[str, Wave],
) -> None:
    """Write a picture of every string: the real guitars from above, then our acoustic, clean, crunch, lead and nylon; of ours at fret 12; of every phrase."""
    folder.mkdir(parents=True, exist_ok=True)
    names = ("acoustic", "clean", "crunch", "lead", "nylon")
    sounds = [ours(name) for name in names]
    for string in range(1, 7):
        waves = [one.wave for guitar in (*reals.values(), *sounds) for one in guitar if one.string == string]
        write_png(folder / f"string-{string}.png", stacked([spectrogram(wave, 48_000) for wave in waves]))
        high = [spectrogram(at_fret(name, string, 12), 48_000) for name in names]
        write_png(folder / f"string-{string}-fret-12.png", stacked(high))
    for name, wave in our_phrases.items():
        write_png(folder / f"phrase-{name}.png", spectrogram(wave, 48_000))
    for path in phrases:
        wave, rate = soundfile.read(path, always_2d=True)
        write_png(folder / f"{path.stem}.png", spectrogram(wave.mean(axis=1), rate))
    print(f"pictures are in {folder}")
