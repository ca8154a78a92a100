"""Other words that people write for a field of a lick: they are offered, never accepted.

In: nothing. Out: `OTHER_NAMES`. It stands apart from the fields, since a question to a library needs no more of them.
"""

from __future__ import annotations

OTHER_NAMES = {
    "time": "meter",
    "metre": "meter",
    "bpm": "tempo",
    "speed": "tempo",
    "position": "box",
    "author": "by",
    "composer": "by",
    "arranger": "by",
    "copyright": "rights",
    "genre": "style",
    "comment": "note",
    "remark": "note",
    "text": "note",
    "difficulty": "level",
    "harmony": "chords",
    "tonality": "key",
    "tonart": "key",
    "takt": "meter",
    "stimmung": "tuning",
    "grid": "step",
}
