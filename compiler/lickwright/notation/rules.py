"""The rules of the notation itself (L101–L126, L130): what can be wrong with a text before it is counted."""

from __future__ import annotations

from lickwright.core.diagnostics import Rule, Severity
from lickwright.music.fretboard import MAX_FRET
from lickwright.music.rhythm import TEMPO_MAX, TEMPO_MIN
from lickwright.music.tuning import STRINGS_MAX

_HEAD = 'key A minor\n\nlick "Gate"\n'


def error_rule(code: str, name: str, summary: str, explanation: str, bad: str, good: str) -> Rule:
    """Return a rule for an error. Its examples are music for one lick in A minor, unless they bring a `lick` line of their own."""
    examples = (text if "lick " in text else _HEAD + text + "\n" for text in (bad, good))
    return Rule(code, name, Severity.ERROR, summary, explanation, *examples)


UNREADABLE = error_rule(
    "L101", "cannot be read", "a note or sign that the notation does not have",
    "A note is a string and a fret (B8), then how it is played. What stands between two spaces is read as a whole; a part that cannot be "
    "read makes all of it unknown, and the rest of the bar is still checked.",
    "| e8 e5 B8z e5 e8 e5 e8 e5 |", "| e8 e5 B8 e5 e8 e5 e8 e5 |",
)  # fmt: skip
TYPOGRAPHY = error_rule(
    "L102", "word processor's mark", "a curly quote, long dash or the like",
    "Word processors and phones change straight quotes, hyphens and three dots into other signs that only look alike.",
    "| e8 – B8 B5 G7 – – – |", "| e8 - B8 B5 G7 - - - |",
)  # fmt: skip
STRING = error_rule(
    "L103", "no such string", "a letter that names no string",
    "The strings are E A D G B e, from the thickest to the thinnest; only the thinnest has a small letter. Any string can also be "
    "written by number, thinnest first: 1:12.",
    "| e8 e5 b8 e5 e8 e5 e8 e5 |", "| e8 e5 B8 e5 e8 e5 e8 e5 |",
)  # fmt: skip
REST = error_rule(
    "L104", "rest touches a note", "a rest's dot that looks like a dotted note",
    "A rest stands apart. A dotted length is made with holds, or by the step: 1/8. is a dotted eighth.",
    "| G7. G5 . G7 - - - |", "| G7 . G5 . G7 - - - |",
)  # fmt: skip
SLIDE = error_rule(
    "L105", "which way does it slide", "a slide's sign between two notes that could belong to either",
    "A sign that could belong to either note must touch its own: G7/ G9 slides off and then plays, G7 /G9 slides in, G7/9 slides from one to the other.",
    "| G7/G9 - - - G7 - - |", "| G7/9 - - - G7 - - |",
)  # fmt: skip
OPEN = error_rule(
    "L106", "never closed", "a bracket, parenthesis or quote that is still open",
    "A tuplet's [ must close within its bar, a word's ( within its lick.",
    "| 3[e8 e5 B8 G7 - - - - - |", "| 3[e8 e5 B8] G7 - - - - - |",
)  # fmt: skip
CLOSED = error_rule(
    "L107", "nothing to close", "a ] or ) that nothing opened",
    "Each ] needs its 3[ and each ) its (word: before it.",
    "| e8 e5 B8] e5 G7 - - - |", "| e8 e5 B8 e5 G7 - - - |",
)  # fmt: skip
TUPLET = error_rule(
    "L108", "what kind of tuplet", "a [ without its number, or with an impossible one",
    "3[…] is three steps in the time of two, 5:4[…] five in the time of four; the number touches its bracket. Tuplets nest once.",
    "| [e8 e5 B8] G7 - - - - - |", "| 3[e8 e5 B8] G7 - - - - - |",
)  # fmt: skip
WORD = error_rule(
    "L109", "unknown word", "a word in parentheses that the notation does not have",
    "A word in parentheses, with its colon, says how the notes inside are played: (pm: E0 E0).",
    "| (palm: A7 A7 A7 A7) A5 - - - |", "| (pm: A7 A7 A7 A7) A5 - - - |",
)  # fmt: skip
VALUE = error_rule(
    "L110", "no such note value", "a step that is no note value",
    "A step is 1/1, 1/2, 1/4, 1/8, 1/16, 1/32 or 1/64, with up to two dots.",
    "| 1/7 e8 e5 B8 e5 e8 e5 e8 e5 |", "| 1/8 e8 e5 B8 e5 e8 e5 e8 e5 |",
)  # fmt: skip
DIRECTION = error_rule(
    "L111", "unknown @", "an @ that the notation does not have",
    "After @ stands a text in quotes, a dynamic from pp to ff, tempo=60, or fermata; it touches what follows it and comes before its note.",
    "| @loud e8 e5 B8 e5 e8 e5 e8 e5 |", "| @f e8 e5 B8 e5 e8 e5 e8 e5 |",
)  # fmt: skip
ENDING = error_rule(
    "L112", "ending out of place", "1st or 2nd that does not follow a bar line, or another number",
    "1st and 2nd stand right after a bar line; the first ends at :|, and the last time through takes the second.",
    "|: e8 e5 B8 e5 1st G7 - - - :| 2nd G5 - - - - - - - ||", "|: e8 e5 B8 e5 G7 - - - |1st G7 - - - - - - - :|2nd G5 - - - - - - - ||",
)  # fmt: skip
LIMIT = error_rule(
    "L113", "past a limit", "more than the notation allows",
    "Limits keep any file quick to read: 10,000 licks a file, 200 fields in one place, 10,000 events a lick with its repeats, nesting 16, "
    f"frets 0 to {MAX_FRET}, strings 1 to {STRINGS_MAX}, tempo {TEMPO_MIN} to {TEMPO_MAX}.",
    "| e99 e5 B8 e5 e8 e5 e8 e5 |", "| e9 e5 B8 e5 e8 e5 e8 e5 |",
)  # fmt: skip
REPEAT = error_rule(
    "L114", "how many times", "a repeat's number that does not touch it, or makes no sense",
    "x3 touches its repeat sign, :|x3, and means three times in all.",
    "|: e8 e5 B8 e5 G7 - - - :| x3", "|: e8 e5 B8 e5 G7 - - - :|x3",
)  # fmt: skip
TITLE = error_rule(
    "L115", "title", "a lick line without a title in double quotes",
    'A lick begins with the word lick and its title in straight double quotes, alone on a line: lick "Porch light". In quotes, \\" is a quote.',
    "lick Gate\n| e8 e5 B8 e5 G7 - - - |\n", 'lick "Gate"\n| e8 e5 B8 e5 G7 - - - |\n',
)  # fmt: skip
LATE = error_rule(
    "L116", "field after the music", "a line of words below the first bar line",
    "Fields stand between the lick line and the first bar line; from there to the next lick everything is music. A comment begins with #.",
    "| e8 e5 B8 e5 G7 - - - |\ntempo 80", "# tempo comes first\n| e8 e5 B8 e5 G7 - - - |",
)  # fmt: skip
LINE = error_rule(
    "L117", "neither field nor music", "a line that is no field, no lick, no music",
    "Before the music, a line is a field (name, space, value), a comment (#), or indented to go on with the field above. Music begins with a bar line.",
    "e8 e5 B8 e5\n| e8 e5 B8 e5 G7 - - - |", "| e8 e5 B8 e5 G7 - - - |",
)  # fmt: skip
EMPTY = error_rule(
    "L118", "nothing to play", "a file without a lick, or a lick without music",
    'A file holds at least one lick: a lick line, then music between bar lines.',
    'lick "Gate"\n', 'lick "Gate"\n| e8 e5 B8 e5 G7 - - - |\n',
)  # fmt: skip
TWICE = error_rule(
    "L119", "given twice", "one note with two marks that exclude each other",
    "A note has one fretting finger, one plucking finger, and each mark once; it is not both accented and a ghost.",
    "| e8'1'2 e5 B8 e5 G7 - - - |", "| e8'4 e5 B8 e5 G7 - - - |",
)  # fmt: skip
INVISIBLE = error_rule(
    "L130", "invisible character", "a control or format character that nobody can see",
    "Characters that cannot be seen (zero-width spaces, direction marks, control codes) come in with copied text and change what is read.",
    "| e8 e5 B8 e5 G\u200b7 - - - |", "| e8 e5 B8 e5 G7 - - - |",
)  # fmt: skip

SAME_TIME = Rule(
    "L125", "tuplet that changes nothing", Severity.INFO, "a tuplet of so many steps in the time of just as many",
    "A tuplet puts its steps into the time of more or fewer: 3[…] is three in the time of two. With two equal numbers, 3:3[…], the "
    "steps last as long as without the bracket, and are played so.",
    _HEAD + "| 3:3[e8 e5 B8] e5 G7 - - - |\n", _HEAD + "| e8 e5 B8 e5 G7 - - - |\n",
)  # fmt: skip

SAME_TITLE = Rule(
    "L126", "title used twice", Severity.WARNING, "two licks of one file with the same title",
    "A lick is found, and its files are named, by its title: where two have the same one, the files of the second get a number, porch-light-2.mid. "
    "Capitals and spaces do not make two titles of one.",
    'key A minor\n\nlick "Gate"\n| e8 e5 B8 e5 G7 - - - |\n\nlick "Gate"\n| G7 e5 B8 e5 G7 - - - |\n',
    'key A minor\n\nlick "Gate"\n| e8 e5 B8 e5 G7 - - - |\n\nlick "Low gate"\n| G7 e5 B8 e5 G7 - - - |\n',
)  # fmt: skip

RULES: tuple[Rule, ...] = (
    UNREADABLE, TYPOGRAPHY, STRING, REST, SLIDE, OPEN, CLOSED, TUPLET, WORD, VALUE, DIRECTION, ENDING,
    LIMIT, REPEAT, TITLE, LATE, LINE, EMPTY, TWICE, SAME_TIME, SAME_TITLE, INVISIBLE,
)  # fmt: skip
