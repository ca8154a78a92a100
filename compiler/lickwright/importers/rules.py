"""What can be doubtful about a lick that was read from another format: the rules of all readers.

In: nothing. Out: `Rule`s, L8xx. L80x are about writing the notation, L81x to L83x about text tab, L84x and L85x about MusicXML, L86x to L88x about MIDI.
"""

from __future__ import annotations

from lickwright.core.diagnostics import Rule, Severity

NOT_WRITTEN = Rule(
    "L801",
    "the notation cannot say it",
    Severity.WARNING,
    "something that was read has no place in the notation",
    "The notation has no sign for this. It is left out of the lick, or written as the nearest thing that there is, and a comment in the file keeps it.",
    "",
    "",
)
WRITTEN_OTHERWISE = Rule(
    "L802",
    "not the same when read again",
    Severity.WARNING,
    "the lick as written plays otherwise than what was read",
    "What was written was compiled and compared with what was read, and differs at this place. Compare it with the original and correct it by hand.",
    "",
    "",
)
METER_CHANGE = Rule(
    "L803",
    "meter changes",
    Severity.INFO,
    "a change of meter begins a new lick",
    "A lick has one meter. Where the meter changes, what follows is written as a lick of its own, whose title says which part it is.",
    "",
    "",
)
BAR_FILLED = Rule(
    "L804",
    "bar that did not add up",
    Severity.WARNING,
    "a bar that was read holds less or more than its meter asks for",
    "Every bar of a lick lasts as long as its meter says. A bar that was shorter is filled up with silence at its end, one that was longer is written as "
    "several. Compare it with the original.",
    "",
    "",
)
MOVED = Rule(
    "L805",
    "instant moved",
    Severity.WARNING,
    "a note begins or ends where the notation cannot count",
    "The notation counts in steps down to a sixty-fourth note and in tuplets of them. What lies between is moved to the nearest place that can be counted.",
    "",
    "",
)
PLACES_CHOSEN = Rule(
    "L806",
    "strings and frets chosen",
    Severity.INFO,
    "the file has pitches, and Lickwright chose where they are played",
    "Every pitch lies in several places on the neck. Where a file does not say on which string a note is played, the place is chosen that a hand reaches with "
    "the least work. Name a box to have it played there.",
    "",
    "",
)
NO_PLACE = Rule(
    "L807",
    "notes without a string",
    Severity.WARNING,
    "notes that lie on no string of the tuning, or more at once than the strings can hold",
    "A guitar has as many notes at once as it has strings, and none below its lowest. Such notes are left out. Check that the tuning is right, and that the "
    "part was written for a guitar.",
    "",
    "",
)
TRACK_CHOSEN = Rule(
    "L808",
    "one of several tracks",
    Severity.INFO,
    "the file holds several parts or tracks, of which one is read",
    "A lick is one player's music. Of several parts the one with strings and frets is read, else the one that is called a guitar, else the one with the most "
    "notes. Name another with `--track`.",
    "",
    "",
)
LEFT_OUT = Rule(
    "L809",
    "left out",
    Severity.WARNING,
    "something in the file has no place in a lick",
    "The notation has no sign for it, so it is left out. Compare the lick with the original.",
    "",
    "",
)
QUANTIZED = Rule(
    "L860",
    "moved to the grid",
    Severity.INFO,
    "notes were not played on the grid, and are moved to it",
    "A MIDI file that was played holds every note where the player struck it. A lick counts in steps: each note is moved to the nearest one, in the division "
    "of the beat that fits best. The figures say how far.",
    "",
    "",
)
JUMP = Rule(
    "L840",
    "jump that leads nowhere",
    Severity.WARNING,
    "an ending, segno, coda, Fine or jump that the notation cannot follow",
    "A lick has one jump back, each mark once, a first ending only with a second, and no mark that nothing goes to. What else a score prints is left out: "
    "write the bars out in the order in which they are played.",
    "",
    "",
)
RULES: tuple[Rule, ...] = (
    NOT_WRITTEN,
    WRITTEN_OTHERWISE,
    METER_CHANGE,
    BAR_FILLED,
    MOVED,
    PLACES_CHOSEN,
    NO_PLACE,
    TRACK_CHOSEN,
    LEFT_OUT,
    JUMP,
    QUANTIZED,
)
