"""The recordings inside a lesson page: short, of one channel, as MP3.

In: performances of a lick. Out: bytes, the same each time on one machine. Needs the extra `lickwright[audio]`. A page has to be small enough to be mailed, so
the rates are low: of every sound of a guitar here 99.9 % of the energy lies below 5,900 Hz (measured).
"""

from __future__ import annotations

from collections.abc import Sequence
from importlib.util import find_spec
from io import BytesIO
from typing import NamedTuple

from lickwright.core.digest import blake2b
from lickwright.hand.hand_shifts import hand_shifts
from lickwright.performance.note_events import Performance
from lickwright.synth.arrangement import arrange
from lickwright.timeline.model import Timeline

LONGEST = 90.0  # seconds of one recording in a page, about 450 kB
LONG = 20.0  # seconds of one recording, from which on it is kept as small as the slow ones
BYTES = 6_000  # of a second of recording in a page, in base64: measured over the samples


class _Coding(NamedTuple):
    """How a recording is made small. `kept` is measured over the guitars: to there every band comes through with half of its energy at least."""

    rate: int  # samples a second; the synth needs 13,600 at least
    compression: float  # on libsndfile's scale: 0 is best, 1 is smallest
    kept: int  # hertz


_FULL = _Coding(22_050, 0.92, 6_500)
_SMALL = _Coding(16_000, 0.9, 6_000)


def is_long(performance: Performance) -> bool:
    """Return whether the recording of a performance is kept as small as can be."""
    return performance.end > LONG


def highest_kept() -> int:
    """Return the frequency in hertz up to which a long recording keeps its overtones."""
    return _SMALL.kept


def _coding(performance: Performance, slow: bool) -> _Coding:
    return _SMALL if slow or is_long(performance) else _FULL


def can_record() -> bool:
    """Whether the libraries that sound wants are installed."""
    return all(find_spec(name) is not None for name in ("numpy", "soundfile"))


def sound_digest(timeline: Timeline, performances: Sequence[Performance]) -> bytes:
    """Return what the recordings of a page depend on, hashed: all but the words of the page."""
    import numpy
    import soundfile

    settings = timeline.settings
    parts = (
        "page", [performance.notes for performance in performances], [performance.end for performance in performances],
        hand_shifts(timeline), settings.tuning.sounding, settings.instrument,
        _FULL, _SMALL, LONG, numpy.__version__, soundfile.__libsndfile_version__,
    )  # fmt: skip
    return blake2b(repr(parts).encode(), digest_size=16).digest()


def record_mp3(timeline: Timeline, performance: Performance, slow: bool) -> bytes:
    """The lick once through, from the first second of its performance on. Raises ImportError without the libraries."""
    import numpy as np
    import soundfile

    from lickwright.synth.mixdown import mix_down

    settings, coding = timeline.settings, _coding(performance, slow)
    guitar = settings.instrument.guitar
    taken = arrange(timeline, [(None, performance)], shifts=hand_shifts(timeline))
    wave = mix_down(taken, settings.tuning.sounding, guitar, BytesIO(), coding.rate, None)
    file = BytesIO()
    out = soundfile.SoundFile(
        file, "w", coding.rate, 1, "MPEG_LAYER_III",
        format="MP3", bitrate_mode="VARIABLE", compression_level=coding.compression,
    )  # fmt: skip
    try:
        for piece in wave.pieces():
            out.write(np.mean(piece, axis=0))
    finally:
        out.close()
    return file.getvalue()
