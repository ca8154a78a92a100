"""Rooms by their mirror images, and what is heard in them besides the guitar.

In: mono samples at 48 kHz and a random generator. Out: `Recorded`, as from `devices.py`. The answer of a box-shaped room is the sum of its images
(Allen and Berkley, Image method for efficiently simulating small-room acoustics, 1979).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from devices import Recorded, coded, convolved
from guitar_strings import RATE, Samples
from rooms import filtered, level, noise, speech

Random = np.random.Generator
Place = Callable[[Samples, Random], Recorded]
_SOUND = 343.0  # metres a second
_LASTS = 0.5  # seconds of an answer


def image_room(random: Random, size: tuple[float, float, float], absorbed: float, away: float) -> Samples:
    """Return the answer of a room of this size (metres), whose walls take in a share of the power, to a guitar so far `away` (metres)."""
    box = np.array(size)
    source = box * random.uniform(0.25, 0.75, 3)
    direction = random.standard_normal(3)
    microphone = np.clip(source + away * direction / np.linalg.norm(direction), 0.2, box - 0.2)
    count = int(_LASTS * RATE)
    answer = np.zeros(count + 2)
    most = np.ceil(_LASTS * _SOUND / (2 * box)).astype(int)
    cells = np.stack(np.meshgrid(*(np.arange(-k, k + 1) for k in most), indexing="ij"), -1).reshape(-1, 3)
    for mirrored in np.ndindex(2, 2, 2):
        far = np.linalg.norm((1 - 2 * np.array(mirrored)) * source + 2 * cells * box - microphone, axis=1)
        walls = (np.abs(cells - mirrored) + np.abs(cells)).sum(axis=1)
        at = far / _SOUND * RATE
        near = at < count
        sample, size_ = at[near].astype(int), np.sqrt(1 - absorbed) ** walls[near] / np.maximum(far[near], 0.1)
        part = at[near] - sample
        np.add.at(answer, sample, size_ * (1 - part))
        np.add.at(answer, sample + 1, size_ * part)
    first = int(np.argmax(np.abs(answer) > 0.3 * np.abs(answer).max()))
    answer = answer[max(0, first - 10) :]
    return (answer / np.sqrt((answer[:480] ** 2).sum())).astype(np.float32)


def _finished(wave: Samples, random: Random, offset: float = 0.0) -> Recorded:
    loud = 0.5 * wave / np.abs(wave).max()
    return Recorded((loud + level(-62) * noise(len(wave), random, 0.4)).astype(np.float32), RATE, offset)


def _room(size: tuple[float, float, float], absorbed: float, away: float) -> Place:
    def apply(wave: Samples, random: Random) -> Recorded:
        return _finished(convolved(wave, image_room(random, size, absorbed, away)), random)

    return apply


def _phone(wave: Samples, random: Random) -> Recorded:
    """A telephone call."""
    heard = convolved(wave, image_room(random, (3.6, 4.4, 2.5), 0.4, 0.6))
    return _finished(filtered(filtered(heard, 300, 3400), 300, 3400), random)


def _mp3(wave: Samples, random: Random) -> Recorded:
    heard = convolved(wave, image_room(random, (3.6, 4.4, 2.5), 0.5, 0.6))
    return _finished(coded(0.5 * heard, RATE, "MP3", "MPEG_LAYER_III", 0.889), random)


def _click(hertz: float, seconds: float, decay: float) -> Samples:
    time = np.arange(int(seconds * RATE)) / RATE
    return (np.sin(2 * np.pi * hertz * time) * np.exp(-time / decay)).astype(np.float32)


def _metronome(wave: Samples, random: Random) -> Recorded:
    """A metronome in the room, which the student does not keep to."""
    out, step = wave.copy(), random.uniform(0.4, 0.7)
    for k, at in enumerate(np.arange(0.1, len(wave) / RATE - 0.15, step)):
        click = _click(1000 if k % 4 else 1500, 0.04, 0.008)
        out[int(at * RATE) : int(at * RATE) + len(click)] += level(-28) * click
    return _finished(out, random)


def _talk(wave: Samples, random: Random) -> Recorded:
    """A few words and a count-in of four clicks before the music."""
    words = 0.3 * speech(float(random.uniform(1.5, 3.5)), random)
    lead = np.concatenate((words, np.zeros(int(0.3 * RATE), np.float32)))
    click = 0.15 * _click(1200, 0.03, 0.007)
    for k in range(4):
        first = int(len(lead) * (k + 0.5) / 4.2)
        lead[first : first + len(click)] += click[: len(lead) - first]
    return _finished(np.concatenate((lead, wave)), random, len(lead) / RATE)


def _direct(wave: Samples, random: Random) -> Recorded:
    return _finished(wave, random)


PLACES: dict[str, Place] = {
    "bedroom": _room((3.1, 3.8, 2.4), 0.35, 0.8), "kitchen": _room((4.2, 2.9, 2.6), 0.16, 1.2), "hall": _room((7.5, 5.2, 3.2), 0.3, 1.5),
    "phone": _phone, "mp3": _mp3, "metronome": _metronome, "talk": _talk, "dry": _direct,
}  # fmt: skip
