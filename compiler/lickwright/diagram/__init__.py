"""Diagrams of boxes and chords on a neck: what is drawn (`build`, `chords`), as text (`text`), as SVG (`svg`)."""

from lickwright.diagram.build import box_diagrams
from lickwright.diagram.chords import KINDS, chord_diagrams
from lickwright.diagram.model import DOT_LABELS, DiagramOptions, Dot, FretboardDiagram
from lickwright.diagram.svg import diagram_svg
from lickwright.diagram.text import diagram_text

__all__ = [
    "KINDS",
    "DOT_LABELS",
    "DiagramOptions",
    "Dot",
    "FretboardDiagram",
    "box_diagrams",
    "chord_diagrams",
    "diagram_svg",
    "diagram_text",
]
