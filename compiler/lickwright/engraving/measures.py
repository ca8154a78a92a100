"""The measures of engraved tab, in points at normal print size. Larger print scales the whole."""

STRING = 9.0  # from string to string
DIGIT = 9.0  # size of a fret number
GRACE = 6.6  # of one before the beat
HELD = 7.4  # of one in parentheses
CLEAR = 0.9  # ground kept clear on either side of a number
LINE = 0.45  # width of a string's line
BAR_LINE = 0.8
THICK_BAR = 2.4
LABEL = 6.6  # size of the string names in the margin
FINGER = 5.8  # of a fretting finger beside its number
FINGER_GAP = 0.7  # between the two
PLUCK = 7.4  # of the letters of the plucking hand
SMALL = 6.6  # of bar numbers, tuplets, counts in parentheses
WORDS = 8.0  # of words above the strings
CHORD = 9.4  # of chord symbols
CHORD_GAP = 4.2  # least gap between two of them
COUNT = 7.2  # of the count below

EIGHTH = 16.0  # the space that an eighth asks for
GROWTH = 0.58  # the space of a value twice as long is 2 ** GROWTH as much
GAP = 3.2  # least gap between two numbers
BAR_LEFT, BAR_RIGHT = (
    7.5,
    5.0,
)  # from a bar line to the first number, and from the last one's space to the next bar line
REPEAT = 7.0  # room for a repeat sign's lines and dots
SAME_BAR = 30.0  # a bar that only says "as before"

STEM_GAP = 4.5  # from the lowest string to a stem
STEM = 17.0  # its length
BEAM = 2.4  # thickness
BEAM_STEP = 3.9  # from beam to beam
SPACE = 6.4  # staff space in which rests are drawn
FLAG_SPACE = 5.2  # and flags, which must not reach over their stems
STAFF_SPACE = 6.0  # from line to line of the notation staff
BEND_RISE = 12.0  # of the tip of a bend's arrow over the thinnest string
BEND_REACH = 8.5  # from a number to where its arrow rises
ROW_GAP = 2.2  # between rows above the strings
SYSTEM_GAP = 13.0
