"""Small notes of the staff: grace notes, and the pitches that a bend or release comes to.

In: `StaffNote`s and where they stand. Out: groups and items of the display list, with the staff's middle line at y 0.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lickwright.engraving import measures as m
from lickwright.engraving.display_list import Item, ItemGroup, Path, line
from lickwright.engraving.music_signs import music_sign, place_sign
from lickwright.engraving.note_values import RhythmEvent
from lickwright.engraving.placed import PlacedSystem, drawn_event
from lickwright.engraving.staff_positions import StaffNote, target_places

SPACE = m.STAFF_SPACE
HEAD_MIDDLE = 1.464  # of a head's sign, in spaces below the middle line that it is drawn for
SIGN_MIDDLE = {"sharp": 1.286, "natural": 1.618, "flat": 1.55, "double-sharp": 1.476, "double-flat": 1.67,
    "natural-up": 1.535, "sharp-up": 1.48, "flat-up": 1.588,
}  # fmt: skip
SIGN = 0.8 * SPACE  # the space that accidentals are drawn for
_SMALL = 0.62  # of grace notes


def step_y(step: int) -> float:
    return -step * SPACE / 2


def ledgers(step: int, x: float, half: float) -> Iterator[Item]:
    steps = range(6, step + 1, 2) if step > 0 else range(-6, step - 1, -2)
    for n in steps:
        yield line(x - half - 1.8, step_y(n), x + half + 1.8, step_y(n), 0.7)


def draw_bend(note: StaffNote, event: RhythmEvent | None, x: float, above: bool) -> Iterator[Item]:
    """Yield the heads of what a note at x is bent and released to, each joined by an angled line `above` the heads or below."""
    outwards = -1.0 if above else 1.0
    before, y = x, step_y(note.step)
    for target, beside in zip(note.targets, target_places(note, event), strict=True):
        here, end = x + beside, step_y(target.step)
        yield from _small_head(here, target.step, target.accidental, "head-4")
        peak = (min(y, end) if above else max(y, end)) + 8.0 * outwards
        yield Path((
            ("M", before, y + 4.4 * outwards), ("L", (before + here) / 2, peak), ("L", here, end + 3.4 * outwards),
        ), 0.7)  # fmt: skip
        before, y = here, end


def _small_head(x: float, step: int, accidental: str, sign: str) -> Iterator[Item]:
    """Yield a small head with its ledger lines and accidental."""
    size, y = SPACE * _SMALL, step_y(step)
    half = music_sign(sign).width * size / 2
    yield from ledgers(step, x, half)
    yield place_sign(sign, x - half, y - HEAD_MIDDLE * size, size)
    if accidental:
        small = SIGN * _SMALL
        width = music_sign(accidental).width * small
        yield place_sign(accidental, x - half - 1.0 - width, y - SIGN_MIDDLE[accidental] * small, small)


def draw_grace(system: PlacedSystem, x: float, notes: Sequence[StaffNote]) -> Iterator[ItemGroup]:
    """A small note with a slashed stem; what it is bent to stands beside it, joined from below."""
    for note in notes:
        event = drawn_event(system.grid.timeline, note.mark.sound)
        items = tuple(_small_head(x, note.step, note.accidental, "head-x" if note.is_x else "head-4"))
        yield ItemGroup(items, "staff-note", event)
        if note.targets:
            yield ItemGroup(tuple(draw_bend(note, None, x, False)), "staff-bend", event)
    if any(not note.is_x for note in notes):
        low, high = max(step_y(n.step) for n in notes), min(step_y(n.step) for n in notes)
        size = SPACE * _SMALL
        stem = x + 1.188 * size / 2 - 0.3
        lines = [line(stem, low - 0.6, stem, high - 2.6 * SPACE * 0.9, 0.6)]
        lines.append(line(stem - 2.6, high - 7.0, stem + 3.0, high - 11.0, 0.6))
        yield ItemGroup(tuple(lines), "staff-stem")
