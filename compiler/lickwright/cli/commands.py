"""The table of commands: name, purpose and an example of each.

In: nothing. Out: `ROWS` and `COMMANDS`, from which the help follows. Each command is the module `cli/NAME.py`, which is loaded when it is called.
"""

from __future__ import annotations

from typing import NamedTuple


class CommandRow(NamedTuple):
    """One command, in the order of the help."""

    name: str
    summary: str  # for the list of commands
    example: str  # its arguments in the first lines of the help
    result: str  # what the example gives


ROWS = (
    CommandRow("make", "Write text tab, MIDI, timing sheet.", "porch.lick", "write tab, MIDI and timing sheet into out/; --to audio the sound"),
    CommandRow("show", "Print the text tab.", "porch.lick", "see the text tab"),
    CommandRow("play", "Play it through the loudspeakers.", "porch.lick", "hear it"),
    CommandRow("assign", "Give a pupil licks to practice, with their lesson pages.", "Mara porch.lick", "a folder with lesson pages for a pupil"),
    CommandRow("check", "Find what is wrong, and say what would be right.", "porch.lick", "find what is wrong"),
    CommandRow("tidy", "Write licks in one tidy form.", "porch.lick", "the same lick, its fields in order and its bars in columns"),
    CommandRow("box", "Draw a scale's boxes or a chord; find a lick's key and box.", "\"A blues\" 1",
               "draw a box, or a chord (Am7); --for FILE: a lick's key and box"),
    CommandRow("move", "Write a lick in another key, box, octave or tuning.", "porch.lick --box 3", "the lick in another box, key, octave or tuning"),
    CommandRow("read", "Read text tab, MIDI, MusicXML into licks.", "mail.txt", "a text tab as mail.lick, and what is doubtful in it"),
    CommandRow("compare", "Compare your version with the teacher's.", "mine.lick theirs.lick", "where your version differs from the teacher's"),
    CommandRow("listen", "Listen to a recording of a lick, as a teacher does.", "porch.lick take.wav", "what a recording has right, and what to practice"),
    CommandRow("find", "Find licks in a library.", "out 'bend box:2 level<=3'", "licks of a library, by what is in them; --like FILE: by phrase"),
    CommandRow("library", "Show what a library has and lacks; find duplicates.", "out", "what a library has, and what it lacks; --duplicates"),
    CommandRow("why", "Explain a finding by its code, or list them all.", "L301", "what a finding means, with examples"),
)  # fmt: skip
_LONG = 42  # characters: a longer example does not move the column of the others
COMMANDS = {row.name: row.summary for row in ROWS}


def examples_text() -> str:
    """Return a line for each command: its example, and what that gives."""
    calls = [f"  lickwright {row.name:<7} {row.example}" for row in ROWS]
    column = max(len(call) for call in calls if len(call) < _LONG)
    return "\n".join(f"{call:<{column}}  {row.result}" for call, row in zip(calls, ROWS, strict=True))
