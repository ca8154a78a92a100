"""What a user asks of the readers of scores and MIDI files."""

from __future__ import annotations

from lickwright.core.fast_dataclass import record


@record
class ReadOptions:
    """What is read of a file, and where on the neck it is played. A reader looks at what concerns it."""

    track: str = ""  # number, from 1, or name of the part, track or channel; "" for the one with the most to play
    key: str = ""  # "A minor", whatever the file says
    box: str = ""  # as a `box` field has it: where notes without strings and frets are played; "" for the best place
    tuning: str = ""  # as a `tuning` field has it, where the file has none; "" for standard, of a bass for a bass
    phrases: bool = False  # a lick for each phrase between rests


def title_of(name: str) -> str:
    """Return a title for a file that holds none: its name, `Porch swing` for `licks/porch_swing.mid`."""
    stem = name.replace("\\", "/").rpartition("/")[2].partition(".")[0]
    words = " ".join(stem.replace("_", " ").replace("-", " ").split())
    return words[:1].upper() + words[1:] or "Untitled"
