"""How the whole guitar is tuned, and whether all of it is played higher or lower than written.

In: the pitches of stretches, and the groups of a lick; and a `Recording`, where notes are known. Out: semitones. The period of a string is a few cents
shorter than that of its lowest partial, since its overtones are sharp and its pick pulls it, so that where notes are known their lowest partials are
measured, after the pick, and those that other notes share are left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.combs import comb_table
from lickwright.listen.expected import ExpectedGroup
from lickwright.listen.match_costs import is_tuneful
from lickwright.listen.picks import pitch_hertz
from lickwright.listen.recording import RATE, Recording
from lickwright.listen.stretches import PICKED, Hearing

_SHIFTS = range(-12, 13)  # semitones that are tried
_BY_PITCH, _BY_COMB = 5, 3  # shifts that are tried of the likeliest by either
_LONG = 0.8  # seconds that a note counts for at most
_COMBS = (28, 96)  # MIDI pitches whose partials are looked for
_PRESENT = 0.5  # strength of a comb from which on a note may be there
_SHORT = 0.08  # seconds: stretches below say nothing about the tuning
_LOWEST, _HIGHEST = (
    37.5,
    90.5,
)  # MIDI: what is heard outside is no pitch of a string but a fraction or a multiple of one
_SETTLED = 0.08  # seconds after a pick from which on partials are measured, and
_SHORTEST, _LONGEST = 0.09, 0.6  # seconds over which
_SIZE = 1 << 16  # of the spectrum in which they are looked for: bins of 0.37 Hz
_PARTIALS = 4
_REACH = 0.45  # semitones on either side of its expected place in which a partial is looked for
_APART = 30.0  # hertz that it must be away from those of other notes
_LOUD = 10 ** (-30 / 20)  # against the loudest partial
_FEWEST = 3  # notes that tell a tuning


def overall_tuning(hearing: Hearing) -> float:
    """Return how far the guitar's pitches lie above those of A 440, −0.5 to 0.5 semitones: the circular mean, long notes first."""
    lengths = np.minimum(np.diff(hearing.starts), 0.6)
    told = (hearing.pitches > _LOWEST) & (hearing.pitches < _HIGHEST) & (lengths > _SHORT)
    if not told.any():
        return 0.0
    turns = 2j * np.pi * hearing.pitches[told].astype(np.float64)
    return float(np.angle((lengths[told] * np.exp(turns)).sum()) / (2 * np.pi))


def likely_shifts(hearing: Hearing, groups: Sequence[ExpectedGroup], tuning: float) -> list[int]:
    """Return the semitones by which all may be shifted, 0 left out: the likeliest by how long each pitch is heard, and those by the partials."""
    lengths = np.minimum(np.diff(hearing.starts), _LONG)
    told = np.isfinite(hearing.pitches) & (lengths > _SHORT)
    heard = np.zeros(128)
    for pitch, length in zip(np.round(hearing.pitches[told] - tuning).astype(int), lengths[told], strict=True):
        heard[min(127, max(0, pitch))] += length
    wanted = np.zeros(128)
    for group in groups:
        if is_tuneful(group):
            for pitch in group.pitches:
                wanted[round(pitch)] += min(_LONG, group.length)
    by_pitch = {shift: float(np.sqrt(heard * np.roll(wanted, shift)).sum()) for shift in _SHIFTS if shift}
    combs = heard_combs(hearing, tuning)
    by_comb = {shift: float((combs * np.roll(wanted, shift)).sum()) for shift in _SHIFTS if shift}
    return list(dict.fromkeys(_likeliest(by_pitch, _BY_PITCH) + _likeliest(by_comb, _BY_COMB)))


def _likeliest(scores: dict[int, float], most: int) -> list[int]:
    return sorted(scores, key=lambda shift: (-scores[shift], abs(shift)))[:most]


def heard_combs(hearing: Hearing, tuning: float) -> NDArray[np.float64]:
    """Return for each MIDI pitch how long its partials are heard (seconds), as where several strings sound and no one pitch is clear."""
    pitches = np.arange(*_COMBS)
    table = comb_table(hearing.recording, hearing.starts, hearing.picks > PICKED, [float(p) + tuning for p in pitches])
    found = np.zeros(128)
    found[pitches] = np.minimum(np.diff(hearing.starts), _LONG) @ np.clip((table - _PRESENT) / (1 - _PRESENT), 0, 1)
    return found


class KnownNote(NamedTuple):
    """A note whose place and pitch are known, but for the tuning."""

    start: float  # seconds
    stop: float
    pitch: float  # MIDI, as sounding
    others: tuple[float, ...]  # pitches that may sound besides


def measured_tuning(recording: Recording, notes: Iterable[KnownNote]) -> float:
    """Return by how many semitones known notes are higher than their pitches, in the middle; 0 where too few can be measured."""
    found = [off for note in notes if np.isfinite(off := _partials_off(recording, note))]
    return float(np.median(found)) if len(found) >= _FEWEST else 0.0


def _partials_off(recording: Recording, note: KnownNote) -> float:
    """Return by how many semitones the lowest partials of a note are higher than its pitch, in the middle; NaN where none stands out."""
    first, last = note.start + _SETTLED, min(note.stop - 0.01, note.start + _SETTLED + _LONGEST)
    if last - first < _SHORTEST:
        return float("nan")
    wave = recording.read(round(first * RATE), round(last * RATE))
    spectrum = np.abs(np.fft.rfft(wave * np.hanning(len(wave)), _SIZE))
    hertz = pitch_hertz(note.pitch) * np.arange(1, _PARTIALS + 1)
    if note.others:
        shared = np.concatenate([pitch_hertz(other) * np.arange(1, 4 * _PARTIALS) for other in note.others])
        hertz = hertz[np.abs(hertz[:, None] - shared[None, :]).min(axis=1) > _APART]
    off = [o for h in hertz if np.isfinite(o := _peak_off(spectrum, float(h)))]
    return float(np.median(off)) if off else float("nan")


def _peak_off(spectrum: NDArray[np.float64], hertz: float) -> float:
    """Return by how many semitones the peak near a frequency is higher than it; NaN where there is none."""
    low, high = (int(hertz * 2 ** (by / 12) * _SIZE / RATE) for by in (-_REACH, _REACH))
    peak = low + int(np.argmax(spectrum[low : high + 1]))
    if peak in (low, high) or spectrum[peak] < _LOUD * spectrum.max():
        return float("nan")
    a, b, c = np.log(spectrum[peak - 1 : peak + 2] + 1e-12)
    return float(12 * np.log2((peak + (a - c) / (2 * (a - 2 * b + c))) * RATE / _SIZE / hertz))
