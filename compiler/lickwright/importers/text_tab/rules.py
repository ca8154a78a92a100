"""What can be doubtful about a text tab: L81x and L82x.

In: nothing. Out: `Rule`s. What is only worth knowing is a note; where a fret, string or technique may be wrong, it is a warning.
"""

from __future__ import annotations

from lickwright.core.diagnostics import Rule, Severity


def _rule(code: str, name: str, severity: Severity, summary: str, explanation: str) -> Rule:
    return Rule(code, name, severity, summary, explanation, "", "")


NO_TAB = _rule(
    "L810", "no tab found", Severity.ERROR, "the text holds no tab that can be read",
    "Four to eight lines of dashes, one under another, with frets on them, are tab. Nothing like it was found, or what looks like it "
    "has labels that are "
    "no strings, as in a drum part or a chart. No lick is written.",
)  # fmt: skip
LEFT = _rule(
    "L811", "line left as a comment", Severity.INFO, "a line of the text is no tab, and is kept as a comment",
    "Prose, lyrics and rows of marks that say nothing about one note are kept in the lick as comments, where they stood.",
)  # fmt: skip
UNKNOWN_MARK = _rule(
    "L812", "mark not understood", Severity.WARNING, "a mark on a string has no meaning that is known",
    "The mark is neither one of the usual ones nor explained by the tab's own key. The note beside it was read without it. Look at the "
    "place, and add what it means.",
)  # fmt: skip
ASSUMED_MARK = _rule(
    "L813", "meaning of a mark assumed", Severity.WARNING, "a mark that people use in several ways was read in the usual one",
    "`^`, `v`, `*`, `s`, `(n)`, `[n]` and `=` mean different things to different people. The tab's own key decides; without one they "
    "mean a bend, vibrato, "
    "a harmonic, a slide, a ghost note, a natural harmonic and a note that is held. Look at the place.",
)  # fmt: skip
GUESSED_FRET = _rule(
    "L814", "fret guessed", Severity.WARNING, "a fret could not be read for sure",
    "Two numbers run together, a fret beyond the neck, or a letter stands where a number should (a scanner reads 0 as O and 1 as l). The "
    "likeliest frets were taken.",
)  # fmt: skip
MISSING_STRING = _rule(
    "L815", "string missing", Severity.WARNING, "a system has fewer strings than the instrument",
    "A line was lost, or the writer left out strings on which nothing is played. The labels say which they are; without labels the lines are"
    " taken from the thinnest string down.",
)  # fmt: skip
UNEVEN = _rule(
    "L816", "strings out of line", Severity.WARNING, "the strings of a bar are not equally long",
    "What stands in one column is played together. Where a string has more or fewer characters than the others, its notes may stand before "
    "or behind those that they belong to.",
)  # fmt: skip
GUESSED_RHYTHM = _rule(
    "L817", "rhythm guessed", Severity.INFO, "the tab does not say the rhythm: it was taken from the spacing",
    "Without a row of counts or of letters, the lengths come from how far apart the notes stand, so that each bar is full. How "
    "plausible that is, is given in percent. "
    "Listen to it, and write the rhythm that you mean.",
)  # fmt: skip
ROW_UNFIT = _rule(
    "L818", "rhythm row does not fit", Severity.WARNING, "the row of counts or letters does not stand over the notes",
    "A row of counts (1 & 2 &) or of letters (W H Q E S) gives the rhythm where each of its signs stands over a note or a rest. This "
    "one does not, or does not fill the bar, "
    "so the rhythm was taken from the spacing.",
)  # fmt: skip
TUNING_DOUBT = _rule(
    "L819", "tuning or strings unclear", Severity.WARNING, "labels, order and prose do not agree about the strings",
    "What the prose says of the tuning goes before labels, unless the labels name other notes than the usual ones; labels go before the "
    "order of the lines.",
)  # fmt: skip
INSTRUCTION = _rule(
    "L820", "instruction in words", Severity.INFO, "an instruction in prose was not carried out",
    "Repeats are played where the tab has repeat signs or a number of times at its end. What the prose asks for beyond that is kept as a comment.",
)  # fmt: skip
NOT_STRINGS = _rule(
    "L821", "labels of no strings", Severity.WARNING, "lines that look like strings have labels that are none",
    "A drum part or a chart has lines of dashes too. Its labels make no strings of an instrument, so it was left out.",
)  # fmt: skip
BEND_UNSAID = _rule(
    "L822", "bend without its size", Severity.INFO, "nothing says how far a bend goes: a whole step was taken",
    "Write the fret whose pitch is reached, `7b9`, or the amount: `7b1/2`.",
)  # fmt: skip
TURNED = _rule(
    "L823", "direction against the frets", Severity.WARNING, "a sign says up and the frets go down, or the other way",
    "A hammer-on goes to a higher fret and a pull-off to a lower one, `/` slides up and `\\` down. The frets were believed, and the sign was turned.",
)  # fmt: skip
MENDED = _rule(
    "L824", "text mended", Severity.INFO, "the lines were put in order before they were read",
    "Lines that a mail program broke were put together, strings that other lines stood between were brought together, long dashes were "
    "counted as several.",
)  # fmt: skip
LIMIT = _rule(
    "L825", "too much for one lick", Severity.WARNING, "the text holds more than a lick can",
    "A lick holds at most 10,000 notes. What comes after that is left out. Split the text.",
)  # fmt: skip
NOT_JOINED = _rule(
    "L826", "nothing to go on from", Severity.WARNING, "a sign connects a note to one that is not there",
    "A pull-off or a release needs a note before it on the same string that still sounds. The note was read as picked.",
)  # fmt: skip
PARTS = _rule(
    "L827", "parts read one after another", Severity.WARNING, "the text holds several parts, which were read one after another",
    "Systems that stand side by side, or under the names of different guitars, may be meant to sound together. A lick has one part: put each into a text of "
    "its own, and read it again.",
)  # fmt: skip

RULES: tuple[Rule, ...] = (
    NO_TAB, LEFT, UNKNOWN_MARK, ASSUMED_MARK, GUESSED_FRET, MISSING_STRING, UNEVEN, GUESSED_RHYTHM, ROW_UNFIT, TUNING_DOUBT, INSTRUCTION, NOT_STRINGS,
    BEND_UNSAID, TURNED, MENDED, LIMIT, NOT_JOINED, PARTS,
)  # fmt: skip
