"""The names of figures that a library can be asked for; `figures.py` finds them in a lick.

In: nothing. Out: constants, without imports, so that the fields of questions load no analysis.
"""

from __future__ import annotations

DOUBLE_STOP, CHORD, UNISON_BEND = "double stop", "chord", "unison bend"
SYNCOPATION, STRING_SKIP, PICK_UP = "syncopation", "string skip", "pick-up"
TUPLETS = {3: "triplet", 5: "quintuplet", 6: "sextuplet", 7: "septuplet"}
FIGURES = (DOUBLE_STOP, CHORD, UNISON_BEND, *TUPLETS.values(), SYNCOPATION, STRING_SKIP, PICK_UP)
