"""Chord tones over the notes: what each note is in the chord that it is played over.

In: a `Grid`. Out: the same grid with one row more above the strings. Only on request, since most readers want the tab bare.
"""

from __future__ import annotations

from lickwright.core.fast_dataclass import replace
from lickwright.layout.grid import Cell, Grid, GridRow, RowEntry
from lickwright.notation.techniques import Curve
from lickwright.timeline.harmony import NO_TONE, chords_under, struck_pitch, tone_in_chord

_MOVING = (Curve.BEND, Curve.PREBEND, Curve.RELEASE)


def mark_chord_tones(grid: Grid) -> Grid:
    """The grid with "1", "b3", "5" over the notes that belong to their chord; the same grid where none does.

    A bend or release is named by where it arrives.
    """
    chords = chords_under(grid.timeline)
    found = []
    for index, column in enumerate(grid.columns):
        for cell in column.cells:
            pitch = _heard(cell)
            said = "" if pitch is None or cell.sound.dead else tone_in_chord(chords[cell.sound.index], pitch)
            if said not in ("", NO_TONE):
                found.append(RowEntry(GridRow.TONE, said, index, index, False))
    return replace(grid, above=(*grid.above, *found)) if found else grid


def _heard(cell: Cell) -> float | None:
    """The pitch that a note comes to here; None where it only goes on."""
    moves = [shape for shape in cell.shapes if shape.technique.curve in _MOVING]
    if moves:
        return cell.sound.pitch + moves[-1].amount
    return struck_pitch(cell.sound) if cell.starts else None
