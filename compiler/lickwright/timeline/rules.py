"""The rules of the timeline (L140 to L149, L451 and L452): mistakes that show only when a lick is played through."""

from __future__ import annotations

from collections.abc import Callable

from lickwright.core.diagnostics import Rule
from lickwright.core.source import Span
from lickwright.notation.rules import error_rule

Report = Callable[[Rule, Span, str, str], None]  # takes a finding: rule, place, message, hint

NO_STRING = error_rule(
    "L140", "string not on this neck", "a string that the tuning does not have, or a letter that names none in it",
    "The letters E A D G B e name the strings of standard tuning, and hold only while a string keeps its pitch. Every string of every "
    "tuning can be written by number, thinnest first: in drop D the thickest is 6:, in a seven-string the lowest is 7:.",
    'tuning drop D\nlick "Gate"\n| E0 - - - E0 - - - |\n', 'tuning drop D\nlick "Gate"\n| 6:0 - - - 6:0 - - - |\n',
)  # fmt: skip
BARE = error_rule(
    "L141", "string without a fret", "a bare string outside a rake or scrape",
    "A note is a string and a fret. Only a rake and a scrape are written with bare strings: (rake: D G B e8).",
    "| e8 G B8 e5 G7 - - - |", "| e8 G7 B8 e5 G7 - - - |",
)  # fmt: skip
HOLD = error_rule(
    "L142", "nothing to hold", "a hold before anything has sounded",
    "- lets what sounds go on for a step more; at the start of a bar it ties over the bar line. Where the music "
    "begins, there is nothing yet; silence is a dot.",
    "| - e5 B8 e5 G7 - - - |", "| . e5 B8 e5 G7 - - - |",
)  # fmt: skip
WHICH_STRING = error_rule(
    "L143", "which string", "a connection or shape that could belong to more than one string",
    "After notes joined by & a hammer-on, pull-off or slide names its string: e5&B5 Bh7.",
    "| e5&B5 h7 - - G7 - - - |", "| e5&B5 Bh7 - - G7 - - - |",
)  # fmt: skip
WORD_NOTES = error_rule(
    "L144", "word's notes", "a rake, trill, roll, scrape or grace with the wrong things inside",
    "A rake is bare strings and then one note, a trill a note and the one connected to it, a roll a chord joined by"
    " &, a scrape a bare string; grace notes stand before an event.",
    "| (rake: D G B) e8 - - G7 - - - |", "| (rake: D G B e8) - - - G7 - - - |",
)  # fmt: skip
SAME = error_rule(
    "L145", "bar repeat", "a % that has no bar before it or is not alone in its bar",
    "% plays the bar before once more and stands alone in its bar.",
    "| % | e8 e5 B8 e5 G7 - - - |", "| e8 e5 B8 e5 G7 - - - | % |",
)  # fmt: skip
ENDINGS = error_rule(
    "L146", "endings", "a first ending without a second, or one that no repeat ends",
    "The first ending ends at :|, the second follows it; the last time through takes the second.",
    "|: e8 e5 B8 e5 G7 - - - |1st G5 - - - - - - - :| G7 - - - - - - - ||",
    "|: e8 e5 B8 e5 G7 - - - |1st G5 - - - - - - - :|2nd G7 - - - - - - - ||",
)  # fmt: skip
EMPTY_BAR = error_rule(
    "L147", "empty bar", "two bar lines with nothing between them",
    "A bar of silence is written with rests; the same bar again with %.",
    "| e8 e5 B8 e5 G7 - - - | | G5 - - - - - - - |", "| e8 e5 B8 e5 G7 - - - | ........ | G5 - - - - - - - |",
)  # fmt: skip
MISPLACED = error_rule(
    "L148", "mark out of place", "a navigation mark that is not at the start or end of its bar",
    "@segno and @coda stand at the start of a bar; @fine, @to-coda and the jumps @dc and @ds (and the likes of @dc-al-fine) at the end, before the bar line.",
    "| e8 e5 @fine B8 e5 G7 - - - | G5 - - - G7 - - - @dc-al-fine ||", "| e8 e5 B8 e5 G7 - - - @fine | G5 - - - G7 - - - @dc-al-fine ||",
)  # fmt: skip
JUMP = error_rule(
    "L149", "jump that does not work out", "a D.C. or D.S. without what it needs, or marks without a jump",
    "@ds goes back to @segno and @dc to the start; al fine ends at @fine, al coda goes from @to-coda on to @coda. A lick has one jump back and each "
    "mark once; after the jump nothing is repeated and first endings are left out.",
    "| e8 e5 B8 e5 G7 - - - | G5 - - - G7 - - - @ds ||", "| e8 e5 B8 e5 G7 - - - | @segno G5 - - - G7 - - - @ds ||",
)  # fmt: skip
NO_SOURCE = error_rule(
    "L451", "nothing to connect from", "a hammer-on, pull-off, slide or tap on a string where nothing sounds",
    "A connection goes on from the sounding note of the same string. After a rest, or after another string was struck, that note has ended: hold it (A-&e7), "
    "let it ring (A5=), or write the new "
    "note with its letter; a hammer-on from nowhere is hG7.",
    "| B5 . h8 - G7 - - - |", "| B5 h8 - - G7 - - - |",
)  # fmt: skip
NO_SHAPE = error_rule(
    "L452", "nothing to shape", "a bend, release, vibrato or slide on a hold where nothing sounds",
    "A shape on a hold bends the note that is sounding; after a rest there is none.",
    "| B5 . -~ - G7 - - - |", "| B5 . . . G7 -~ - - |",
)  # fmt: skip

RULES: tuple[Rule, ...] = (
    NO_STRING,
    BARE,
    HOLD,
    WHICH_STRING,
    WORD_NOTES,
    SAME,
    ENDINGS,
    EMPTY_BAR,
    MISPLACED,
    JUMP,
    NO_SOURCE,
    NO_SHAPE,
)
