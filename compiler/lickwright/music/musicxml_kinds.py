"""The kinds of chords that MusicXML names, for the score that is written and the score that is read.

In: a kind of the standard. Out: the chord symbol without its root.
"""

from __future__ import annotations

# Of two kinds that fit a chord equally well, the first is taken.
MUSICXML_KINDS = {
    "major": "", "minor": "m", "dominant": "7", "minor-seventh": "m7", "major-seventh": "maj7", "major-minor": "m(maj7)",
    "diminished": "dim", "augmented": "aug", "diminished-seventh": "dim7", "half-diminished": "m7b5", "augmented-seventh": "7#5",
    "major-sixth": "6", "minor-sixth": "m6", "dominant-ninth": "9", "major-ninth": "maj9", "minor-ninth": "m9",
    "dominant-11th": "11", "minor-11th": "m11", "dominant-13th": "13", "major-13th": "maj13", "minor-13th": "m13",
    "suspended-second": "sus2", "suspended-fourth": "sus4", "power": "5",
}  # fmt: skip
