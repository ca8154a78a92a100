"""A recording as samples: the guitar at its loudness, what sounds under it, everything below the ceiling.

In: a `RecordingPlan`, a tuning, a guitar. Out: two channels. Works piece by piece, so that the memory in use does not grow with the recording.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import BinaryIO

import numpy as np

from lickwright.music.instruments import Guitar
from lickwright.synth.accompaniment import render_clicks, render_pad
from lickwright.synth.amp import Amp
from lickwright.synth.arrangement import RATE, RecordingPlan
from lickwright.synth.guitar import Instrument
from lickwright.synth.humanizer import Humanizer
from lickwright.synth.loudness import normalize_loudness
from lickwright.synth.sympathy import Sympathy
from lickwright.synth.wave import StereoSamples, Wave

FADE = 0.05  # seconds at the very end


def mix_down(
    plan: RecordingPlan,
    tuning: Sequence[int],
    guitar: Guitar,
    file: BinaryIO,
    rate: int = RATE,
    feel: Humanizer | None = None,
) -> Wave:
    """Return a recording at −16 LUFS and at most −1 dBTP; silence for a lick without notes.

    `tuning` are the MIDI pitches of the open strings, the thinnest first. StereoSamples that are too many for the memory lie in `file`, which is empty.
    Equal arguments give equal samples. Raises OSError where the file does.
    """
    wave = Wave(round(plan.end * rate), file)
    instrument = Instrument(plan.notes, tuning, guitar, rate, feel)
    amp, at = Amp(guitar, rate), 0
    fade = min(wave.count, int(FADE * rate))
    fading = np.linspace(1, 0, fade, dtype=np.float32)
    strings = Sympathy(instrument.samples, plan.notes, tuning, guitar, rate)
    for piece in amp.play(strings.samples, wave.count):
        end = at + piece.shape[1]
        if (begin := max(at, wave.count - fade)) < end:
            piece[:, begin - at :] *= fading[begin - wave.count + fade : end - wave.count + fade]
        wave.write(at, piece)
        at = end
    normalize_loudness(wave, rate)
    if plan.clicks or plan.chords:
        wave.change(lambda start, part: _with_accompaniment(plan, start, part, rate))
        if plan.notes:
            normalize_loudness(wave, rate)
    return wave


def _with_accompaniment(plan: RecordingPlan, start: int, part: StereoSamples, rate: int) -> StereoSamples:
    """Return a piece with the clicks and chords under it."""
    stop = start + part.shape[1]
    both = part + (render_clicks(plan.clicks, start, stop, rate) + render_pad(plan.chords, start, stop, rate))
    return both.astype(np.float32)
