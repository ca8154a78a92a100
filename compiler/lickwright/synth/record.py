"""A recording as samples: the guitar at its loudness, what sounds under it, everything below the ceiling.

In: a Take, a tuning, a guitar. Out: two channels. Works piece by piece: what it needs besides the recording itself does not grow with it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lickwright.synth.amp import HOP, Amp
from lickwright.synth.guitar import Instrument
from lickwright.synth.loudness import levelled
from lickwright.synth.plan import Feel
from lickwright.synth.sounds import Guitar
from lickwright.synth.take import Take
from lickwright.synth.under import clicks, pad

RATE = 48_000  # samples a second
FADE = 0.05  # seconds at the very end


def record(
    take: Take, tuning: Sequence[int], guitar: Guitar, rate: int = RATE, feel: Feel | None = None
) -> NDArray[np.float32]:
    """The samples of a recording, shape (2, n), −16 LUFS and at most −1 dBTP; silence for a lick without notes.

    `tuning` are the MIDI pitches of the open strings, the thinnest first. Equal for equal arguments.
    """
    count = round(take.end * rate)
    wave = np.zeros((2, count), np.float32)
    instrument, amp, at = Instrument(take.notes, tuning, guitar, rate, feel), Amp(guitar, rate), 0
    for piece in amp.play(instrument.samples, count):
        wave[:, at : at + piece.shape[1]] = piece
        at += piece.shape[1]
    fade = min(count, int(FADE * rate))
    wave[:, count - fade :] *= np.linspace(1, 0, fade, dtype=np.float32)
    levelled(wave, rate)
    if take.clicks or take.chords:
        for start in range(0, count, HOP):
            stop = min(count, start + HOP)
            wave[:, start:stop] += clicks(take.clicks, start, stop, rate) + pad(take.chords, start, stop, rate)
        if take.notes:
            levelled(wave, rate)
    return wave
