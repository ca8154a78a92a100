"""What each sounding note is to the lick's key, scale and box.

In: a Timeline. Out: one word a sound. Makes no findings: `box.py` does, and the timing sheet and the page ask here too. Bends are
judged by their fretted pitch here, by their targets in `box.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache

from lickwright.core.keep_last import keep_last
from lickwright.music.box_area import Area
from lickwright.music.pitch import PLAIN_NAMES, Key, note_name
from lickwright.music.scale import Scale, degree_name
from lickwright.music.scale_boxes import BLUE, Box, boxes_of_scale, is_minor
from lickwright.music.tuning import Tuning
from lickwright.notation.techniques import BEND_CURVES, UPWARD_BENDS
from lickwright.settings.fields import Settings
from lickwright.timeline.bar_count import instant_in_meter
from lickwright.timeline.harmony import struck_pitch
from lickwright.timeline.model import SoundingNote, Timeline

# The words; "" is for what is not judged: dead notes, rake strokes, and everything where neither key nor box is set.
IN_BOX, IN_BLUE, IN_SCALE, OPEN, APPROACH, OUTSIDE = "box", "blue", "scale", "open", "approach", "outside"

# Degrees as a player says them; others as they are written.
_QUALITIES = {
    "1": "tonic", "b2": "flat 2nd", "2": "2nd", "b3": "minor 3rd", "3": "major 3rd", "4": "4th", "#4": "sharp 4th",
    "b5": "flat 5th", "5": "5th", "#5": "sharp 5th", "b6": "minor 6th", "6": "major 6th", "b7": "minor 7th",
    "7": "major 7th",
}  # fmt: skip


class NoteMembership:
    """One neck in one key, scale and box: what each place on it is, worked out when asked for and kept."""

    __slots__ = ("area", "blue", "boxes", "classes", "frets", "key", "scale", "table", "tuning")

    def __init__(
        self,
        area: Area | None,
        key: Key | None,
        scale: Scale | None,
        tuning: Tuning,
        boxes: tuple[Box, ...],
        frets: int,
    ) -> None:
        self.area = area
        self.key = key
        self.scale = scale
        self.tuning = tuning
        self.boxes = boxes
        self.frets = frets  # the highest, counted from the capo
        self.classes = frozenset(range(12))  # pitch classes of the scale; all of them where there is none
        self.blue: int | None = None  # pitch class of the blue note, where the scale's family has one
        self.table: dict[tuple[int, int], str] = {}
        if key is not None and scale is not None:
            self.classes = frozenset((key.tonic.pc + semitones) % 12 for semitones in scale.semitones)
            if scale.is_pentatonic_family:
                self.blue = (key.tonic.pc + BLUE["minor" if is_minor(scale) else "major"].semitones) % 12

    def at(self, string: int, fret: int) -> str:
        """Return what a fretted note there is, its surroundings aside: one of the words above."""
        found = self.table.get((string, fret))
        if found is None:
            found = self.table[string, fret] = self._at(string, fret)
        return found

    def _at(self, string: int, fret: int) -> str:
        pc = (self.tuning.open(string) + fret) % 12
        place = (string, fret)
        if self.area is None:
            return IN_BLUE if pc == self.blue else IN_SCALE if pc in self.classes else OUTSIDE
        if place in self.area.places or place in self.area.blue:
            return IN_BLUE if pc == self.blue else IN_BOX
        return OUTSIDE if not self.fits(pc) else OPEN if fret == 0 else IN_SCALE

    def is_blue(self, string: int, fret: int) -> bool:
        """Return whether a place has the blue note of the scale's family."""
        return (self.tuning.open(string) + fret) % 12 == self.blue

    def fits(self, pitch: int) -> bool:
        """Return whether a MIDI pitch or pitch class is in the scale, or is its family's blue note."""
        return pitch % 12 in self.classes or pitch % 12 == self.blue

    def holders(self, string: int, fret: int) -> list[Box]:
        """Return the boxes, other than those asked for, that hold a place, nearest first."""
        asked = self.area.boxes if self.area else ()
        own = {(box.label, box.low) for box in asked}
        found = [
            box
            for box in self.boxes
            if (box.label, box.low) not in own and ((string, fret) in box.places or (string, fret) in box.blue)
        ]
        return sorted(found, key=lambda box: min((abs(box.low - other.low) for other in asked), default=0))

    def near(self, string: int, fret: int) -> list[int]:
        """Return the nearest fret on each side, at most three away and on the neck, that is in the box (in the scale without one)."""
        wanted = IN_BOX if self.area is not None else IN_SCALE
        sides = (range(fret - 1, max(fret - 4, -1), -1), range(fret + 1, min(fret + 3, self.frets) + 1))
        nearest = (next((f for f in side if self.at(string, f) == wanted), None) for side in sides)
        return [f for f in nearest if f is not None]

    def note(self, pitch: int) -> str:
        """Return the name and degree of a MIDI pitch: "C#, major 3rd"; the name alone without a key."""
        if self.key is None:
            return str(PLAIN_NAMES[pitch % 12])
        degree = degree_name((pitch - self.key.tonic.pc) % 12, self.scale, self.key)
        return f"{note_name(pitch, self.key)}, {_QUALITIES.get(degree, degree)}"

    @property
    def key_name(self) -> str:
        """The key that the scale's family belongs to, "A minor" or "C major"; "" without a key."""
        if self.key is None or self.scale is None:
            return ""
        return f"{self.key.tonic} {'minor' if is_minor(self.scale) else 'major'}"

    @property
    def scale_name(self) -> str:
        """The tonic and the scale, "A minor pentatonic"; "" without a key."""
        return f"{self.key.tonic} {self.scale}" if self.key is not None else ""

    @property
    def area_name(self) -> str:
        """The box: "box 1", "boxes 1 and 2", "the E shape", "open position", "frets 5-8"; "" for any."""
        if self.area is None:
            return ""
        labels = sorted({box.label for box in self.area.boxes})
        if len(labels) > 1:
            numbers = [label.removeprefix("box ") for label in labels]
            return f"boxes {', '.join(numbers[:-1])} and {numbers[-1]}"
        return f"the {labels[0]}" if labels[0].endswith("shape") else labels[0]


@lru_cache(maxsize=512)
def _membership(
    area: Area | None, key: Key | None, scale: Scale | None, tuning: Tuning, frets: int, numbering: str
) -> NoteMembership:
    boxes: tuple[Box, ...] = ()
    if key is not None and scale is not None:
        boxes = boxes_of_scale(key, scale, tuning, frets, numbering)
    return NoteMembership(area, key, scale, tuning, boxes, frets)


def membership_for(settings: Settings) -> NoteMembership | None:
    """Return the neck that a lick is judged on; None where neither key nor box is set. It is kept, since a library asks for few."""
    if settings.key is None and settings.area is None or settings.unread & {"key", "scale", "tuning"}:
        return None
    frets = settings.frets - settings.capo
    return _membership(settings.area, settings.key, settings.scale, settings.tuning, frets, settings.numbering)


def _bent_together(timeline: Timeline, found: list[str]) -> Iterator[int]:
    """Yield the notes outside the scale that only start a unison bend: bent at once to the pitch that another string sounds with it."""
    for n in (n for n, word in enumerate(found) if word == OUTSIDE):
        sound = timeline.sounds[n]
        target = next((shape.amount for shape in sound.shapes if shape.technique.curve in UPWARD_BENDS), 0.0)
        if target and any(
            other.start == sound.start and other is not sound and other.pitch == sound.pitch + target
            for other in timeline.sounds[max(0, n - 6) : n + 7]
        ):
            yield n


@keep_last
def note_memberships(timeline: Timeline) -> tuple[str, ...]:
    """Return for each sound "box", "blue", "scale" (in it or its blue note, outside the box), "open", "approach", "outside", or ""."""
    board = membership_for(timeline.settings)
    if board is None:
        return ("",) * len(timeline.sounds)
    known, found = board.table, []
    for sound in timeline.sounds:
        fret = sound.fret
        if sound.head is not None or fret is None or sound.kind in ("rake", "scrape"):
            found.append(_headed(board, sound))
        else:
            found.append(known.get((sound.string, fret)) or board.at(sound.string, fret))
    if OUTSIDE in found:
        for n in list(_bent_together(timeline, found)):
            found[n] = ""
        _find_approaches(timeline, found)
    return tuple(found)


def _headed(board: NoteMembership, sound: SoundingNote) -> str:
    """Return what a note without a plain fret is: a harmonic is judged by its pitch alone, what has no clear pitch is not judged."""
    if sound.dead:
        return ""
    return IN_BOX if board.fits(round(sound.pitch)) else OUTSIDE


def _find_approaches(timeline: Timeline, found: list[str]) -> None:
    """Mark the notes outside the scale that lead on: one semitone from the next note, not longer, off the beat.

    From the end backwards, since a note may lead to one that leads on itself; what it all leads to is in the scale.
    """
    upcoming: list[SoundingNote] = []  # the sounds that begin next
    group: list[SoundingNote] = []  # those that begin together
    instant: tuple[int, int] | None = None
    for sound in sorted(timeline.sounds, key=lambda s: (s.start, -s.lead), reverse=True):
        if not found[sound.index]:
            continue
        if (sound.start, -sound.lead) != instant:
            upcoming, group, instant = group, [], (sound.start, -sound.lead)
        group.append(sound)
        if found[sound.index] == OUTSIDE and _leads(
            timeline, sound, (s for s in upcoming if found[s.index] != OUTSIDE)
        ):
            found[sound.index] = APPROACH


def _leads(timeline: Timeline, sound: SoundingNote, upcoming: Iterable[SoundingNote]) -> bool:
    if sound.harmonic or any(shape.technique.curve in BEND_CURVES for shape in sound.shapes):
        return False
    grace = sound.kind == "grace"
    if not grace and _on_beat(timeline, sound):
        return False
    length = sound.end - sound.start
    return any(
        abs(struck_pitch(after) - sound.pitch) == 1
        and (grace or (length <= after.end - after.start and after.start <= sound.end))
        for after in upcoming
    )


def _on_beat(timeline: Timeline, sound: SoundingNote) -> bool:
    slot = timeline.slots[sound.slot]
    return instant_in_meter(timeline, timeline.bars[slot.bar], slot.at) % timeline.settings.meter.beat == 0
