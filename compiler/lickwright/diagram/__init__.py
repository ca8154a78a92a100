"""Pictures of the neck: what to draw (`necks`), as text (`text`), as SVG (`svg`)."""

from lickwright.diagram.build import necks
from lickwright.diagram.chords import KINDS, chord_necks
from lickwright.diagram.model import SHOWN, Dot, FretboardDiagram, Place
from lickwright.diagram.svg import svg
from lickwright.diagram.text import diagram_text

__all__ = ["KINDS", "SHOWN", "Dot", "FretboardDiagram", "Place", "chord_necks", "necks", "svg", "diagram_text"]
