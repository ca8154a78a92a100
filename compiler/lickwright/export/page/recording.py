"""The recordings inside a lesson page: short, of one channel, as MP3.

In: performances of a lick. Out: bytes, the same each time on one machine. Needs the extra `lickwright[audio]`. The rate is 22,050 samples a second, half the
usual one, to keep a page small enough to be mailed: it keeps everything below 11,000 Hz, where nearly all sound of a guitar lies.
"""

from __future__ import annotations

from collections.abc import Sequence
from importlib.util import find_spec
from io import BytesIO

from lickwright.core.digest import blake2b
from lickwright.music.instruments import INSTRUMENTS
from lickwright.performance.note_events import Performance
from lickwright.synth.arrangement import arrange
from lickwright.timeline.model import Timeline

RATE = 22_050  # samples a second
LONGEST = 90.0  # seconds of one recording in a page, about 450 kB
BYTES = 6_000  # of a second of recording in a page, in base64: measured over the samples
_SMALLNESS = (
    0.92,
    0.98,
)  # compression of the recording at the tempo, and of the longer slow one; libsndfile's scale: 0 is best, 1 is smallest


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
        settings.tuning.sounding, settings.sound, RATE, _SMALLNESS, numpy.__version__, soundfile.__libsndfile_version__,
    )  # fmt: skip
    return blake2b(repr(parts).encode(), digest_size=16).digest()


def record_mp3(timeline: Timeline, performance: Performance, slow: bool) -> bytes:
    """The lick once through, from the first second of its performance on. Raises ImportError without the libraries."""
    import numpy as np
    import soundfile

    from lickwright.synth.mixdown import mix_down

    taken = arrange(timeline, [(None, performance)])
    settings = timeline.settings
    guitar = INSTRUMENTS[settings.sound].guitar
    wave = mix_down(taken, settings.tuning.sounding, guitar, BytesIO(), RATE, None)
    file = BytesIO()
    out = soundfile.SoundFile(
        file, "w", RATE, 1, "MPEG_LAYER_III", format="MP3", bitrate_mode="VARIABLE", compression_level=_SMALLNESS[slow]
    )
    try:
        for piece in wave.pieces():
            out.write(np.mean(piece, axis=0))
    finally:
        out.close()
    return file.getvalue()
