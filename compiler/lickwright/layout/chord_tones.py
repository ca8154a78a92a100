"""Chord tones over the notes: what each note is in the chord that it is played over.

In: a `Grid`. Out: the same grid with one more row above the strings. Exports add it only on request.
"""

from __future__ import annotations

from lickwright.core.fast_dataclass import replace
from lickwright.layout.grid import Cell, Grid, GridRow, RowEntry
from lickwright.notation.techniques import BEND_CURVES
from lickwright.timeline.harmony import NO_TONE, chords_under, struck_pitch, tone_in_chord


def mark_chord_tones(grid: Grid) -> Grid:
    """Return the grid with "1", "b3", "5" over the notes that belong to their chord; the same grid where none does.

    A bend or release is named by the pitch that it arrives at.
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
    """Return the pitch (MIDI, as fingered) that a note comes to in a cell; None where it only goes on."""
    moves = [shape for shape in cell.shapes if shape.technique.curve in BEND_CURVES]
    if moves:
        return cell.sound.pitch + moves[-1].amount
    return struck_pitch(cell.sound) if cell.starts else None
