"""Pictures of the neck: what to draw (`necks`), as text (`text`), as SVG (`svg`)."""

from lickwright.diagram.build import necks
from lickwright.diagram.chords import KINDS, chord_necks
from lickwright.diagram.facts import SHOWN, Dot, Neck, Place
from lickwright.diagram.svg import svg
from lickwright.diagram.text import text

__all__ = ["KINDS", "SHOWN", "Dot", "Neck", "Place", "chord_necks", "necks", "svg", "text"]
