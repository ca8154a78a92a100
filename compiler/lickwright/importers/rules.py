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
RULES: tuple[Rule, ...] = (NOT_WRITTEN, WRITTEN_OTHERWISE, METER_CHANGE, BAR_FILLED, MOVED)
