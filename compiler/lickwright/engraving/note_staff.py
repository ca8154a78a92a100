"""The staff of notes above the strings: heads, stems, beams, rests, accidentals and ties.

In: a `PlacedSystem` and its `StaffNote`s. Out: groups of the display list, with the staff's middle line at y 0. Stems of a group go up where its note that is
farthest from the middle line lies below it, else down.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from lickwright.engraving import measures as m
from lickwright.engraving.bar_lines import StaffHeight, bar_line, bar_lines
from lickwright.engraving.display_list import Item, ItemGroup, Text, box, disc, line
from lickwright.engraving.joins import lens
from lickwright.engraving.music_signs import music_sign, place_sign
from lickwright.engraving.note_values import BarRhythm, RhythmEvent
from lickwright.engraving.placed import PlacedPiece, PlacedSystem, drawn_event
from lickwright.engraving.small_notes import (
    HEAD_MIDDLE,
    SIGN,
    SIGN_MIDDLE,
    SPACE,
    draw_bend,
    draw_grace,
    ledgers,
    step_y,
)
from lickwright.engraving.staff_positions import StaffNote, accidental_columns, clef_of, signature_steps, target_places
from lickwright.engraving.staff_stems import (
    HEAD,
    Beam,
    StaffChord,
    draw_beam,
    draw_stem,
    draw_tuplet,
    goes_up,
    place_beam,
)
from lickwright.engraving.staff_voices import StaffVoice, two_voices
from lickwright.engraving.typefaces import CAPITAL
from lickwright.timeline.model import Timeline

HEIGHT = StaffHeight(-2 * SPACE, 2 * SPACE, (-SPACE / 2, SPACE / 2))
_RESTS = {4: "rest-4", 8: "rest-8", 16: "rest-16", 32: "rest-32"}
_SIGNATURE_STEP = 1.18 * SPACE
_REST_CLEAR = 3.4 * SPACE  # from the middle of a rest to the heads of the other voice

Notes = Mapping[tuple[int, int, int], tuple[StaffNote, ...]]  # by bar, grains and lead


def head_room(timeline: Timeline) -> float:
    """Room for clef and key signature at the start of a system."""
    signature = len(signature_steps(timeline)) * _SIGNATURE_STEP
    return music_sign(clef_of(timeline).sign).width * SPACE + 7.0 + (signature + 4.0 if signature else 0.0)


def draw_notes(system: PlacedSystem, notes: Notes, start: float, meter_room: float) -> Iterator[Item]:
    """The whole staff of a system from `start` on; `meter_room` is the room for the meter before its first bar, or 0."""
    for n in range(-2, 3):
        yield ItemGroup((line(start, n * SPACE, system.right, n * SPACE, m.LINE),), "staff-line")
    yield bar_line(start, HEIGHT)
    yield ItemGroup(tuple(_clef(system.grid.timeline, start)), "clef")
    if meter_room:
        yield ItemGroup(tuple(_meter(system, system.left - meter_room / 2)), "meter")
    seen: dict[int, float] = {}
    for placed in system.pieces:
        yield from bar_lines(system, placed, HEIGHT)
        yield from _bar(system, placed, notes, seen)


def _clef(timeline: Timeline, start: float) -> Iterator[Item]:
    clef = clef_of(timeline)
    sign = music_sign(clef.sign)
    yield place_sign(clef.sign, start + 3.0, 0.0, SPACE)
    y = max(sign.bottom * SPACE, 2 * SPACE) + 5.4
    yield Text(start + 3.0 + sign.width * SPACE * 0.45, y, "8", "sans", 6.0, "middle")
    x = start + 5.5 + sign.width * SPACE
    for name, step in signature_steps(timeline):
        yield place_sign(name, x, step_y(step) - SIGN_MIDDLE[name] * SIGN, SIGN)
        x += _SIGNATURE_STEP


def _meter(system: PlacedSystem, x: float) -> Iterator[Item]:
    meter = system.grid.timeline.settings.meter
    size = 1.9 * SPACE / CAPITAL
    yield Text(x, -0.4, str(meter.beats), "sans-bold", size, "middle")
    yield Text(x, 2 * SPACE - 0.4, str(meter.unit), "sans-bold", size, "middle")


def _bar(system: PlacedSystem, placed: PlacedPiece, notes: Notes, seen: dict[int, float]) -> Iterator[Item]:
    """The notes of one piece."""
    voices = _voices(system, placed, notes)
    if voices is not None:
        yield from _two_voices(system, placed, voices, notes, seen)
        return
    rhythm = system.bars[placed.piece.bar].rhythm
    index = {event.at: n for n, event in enumerate(rhythm.events)}
    chords: dict[int, StaffChord] = {}  # by index of the event
    for stop, x in placed.stops:
        here = notes.get((stop.bar, stop.at, stop.lead), ())
        if stop.lead:
            yield from draw_grace(system, x, here)
        elif stop.event is not None and stop.event.rest:
            middle = (placed.left + placed.right) / 2
            yield ItemGroup(tuple(_rest(stop.event, middle if stop.event.whole_bar else x)), "rest")
        elif stop.event is not None and here:
            chords[index[stop.at]] = StaffChord(x, stop.event, here)
    yield from _chords(system, rhythm, chords, seen)


def _voices(system: PlacedSystem, placed: PlacedPiece, notes: Notes) -> tuple[StaffVoice, StaffVoice] | None:
    """Return the two voices of a bar that stands on a system as a whole; None for one voice."""
    piece = placed.piece
    if not (piece.opens and piece.closes) or piece.same:
        return None
    bar = system.bars[piece.bar]
    return two_voices(system.grid, piece.bar, bar, lambda stop: notes.get((stop.bar, stop.at, stop.lead), ()))


def _two_voices(
    system: PlacedSystem, placed: PlacedPiece, voices: Sequence[StaffVoice], notes: Notes, seen: dict[int, float]
) -> Iterator[Item]:
    """A bar in two voices, with the grace notes of both."""
    for stop, x in placed.stops:
        if stop.lead:
            yield from draw_grace(system, x, notes.get((stop.bar, stop.at, stop.lead), ()))
    rests = _rest_places(voices)
    for voice, rest_y in zip(voices, rests, strict=True):
        chords = {}
        for index, event in enumerate(voice.rhythm.events):
            x = system.x_at(placed.piece.bar, event.at)
            if index in voice.notes:
                beside = 0.0 if voice.up else _beside(event, voice.notes[index], voices[0])
                chords[index] = StaffChord(x + beside, event, voice.notes[index])
            elif event.rest:
                yield ItemGroup(tuple(_rest(event, x)), "rest", y=rest_y)
        yield from _chords(system, voice.rhythm, chords, seen, voice.up)


def _rest_places(voices: Sequence[StaffVoice]) -> tuple[float, float]:
    """Return where the rests of the upper and of the lower voice stand: clear of the notes of the other."""
    upper, lower = ({note.step for chord in voice.notes.values() for note in chord} for voice in voices)
    return (
        min(-1.5 * SPACE, step_y(max(lower)) - _REST_CLEAR),
        max(1.5 * SPACE, step_y(min(upper)) + _REST_CLEAR),
    )


def _beside(event: RhythmEvent, notes: Sequence[StaffNote], upper: StaffVoice) -> float:
    """Return how far to the right a chord of the lower voice stands: clear of a head of the upper one that is a step away."""
    highest = max(note.step for note in notes)
    for index, above in upper.notes.items():
        if upper.rhythm.events[index].at == event.at and min(note.step for note in above) - highest <= 1:
            return 2 * HEAD - 0.8
    return 0.0


def _chords(
    system: PlacedSystem,
    rhythm: BarRhythm,
    chords: Mapping[int, StaffChord],
    seen: dict[int, float],
    up: bool | None = None,
) -> Iterator[Item]:
    """Heads, stems, beams and tuplets; `up` says where the stems go, None that it follows from the notes."""
    beams: dict[int, Beam] = {}  # by index of the event
    for group in _beam_groups(rhythm, chords):
        beam = place_beam(rhythm.events, group, chords, up)
        beams.update(dict.fromkeys(group, beam))
        yield draw_beam(beam, rhythm.events, group, chords)
    for n, chord in chords.items():
        yield from _single(system, chord, beams.get(n), seen, up)
    for tuplet in rhythm.tuplets:
        inside = [n for n in chords if tuplet.start <= chords[n].event.at < tuplet.end]
        if inside:
            signs = draw_tuplet([chords[n] for n in inside], tuplet, [beams.get(n) for n in inside], up)
            yield ItemGroup(tuple(signs), "tuplet")


def _beam_groups(rhythm: BarRhythm, chords: Mapping[int, StaffChord]) -> Iterator[list[int]]:
    """The events under each beam, as far as they stand on this system."""
    for first, last in rhythm.beams:
        group = [n for n in range(first, last + 1) if n in chords]
        if len(group) > 1:
            yield group


def _single(system: PlacedSystem, chord: StaffChord, beam: Beam | None, seen: dict[int, float], forced: bool | None) -> Iterator[Item]:  # fmt: skip
    """Heads and ties, and the stem of a chord without a `beam`; `forced` says where it goes, None that it follows from the notes."""
    up = beam.up if beam is not None else goes_up([chord]) if forced is None else forced
    yield from _heads(system, chord, up)
    yield from _ties(system, chord, up, seen)
    yield from _bends(system, chord, up)
    if beam is None and chord.event.base < 1:
        yield ItemGroup(tuple(draw_stem(chord, up)), "staff-stem")


def _heads(system: PlacedSystem, chord: StaffChord, up: bool) -> Iterator[ItemGroup]:
    """Heads with ledger lines, accidentals and dots."""
    shifted = _shifted(chord.notes, up)
    columns = accidental_columns(chord.notes)
    beside = (2 * HEAD - 0.8) * (1 if up else -1)
    wide = max(0.0, beside) if shifted else 0.0
    for n, note in enumerate(chord.notes):
        x, y = chord.x + (beside if n in shifted else 0.0), step_y(note.step)
        sign = _head_sign(note, chord.event)
        half = music_sign(sign).width * SPACE / 2
        items: list[Item] = list(ledgers(note.step, x, half))
        items.append(place_sign(sign, x - half, y - HEAD_MIDDLE * SPACE, SPACE))
        if n in columns:
            items.append(_accidental(note, chord.x - HEAD - 1.4 - columns[n] * 1.3 * SPACE))
        raised = y - SPACE / 2 if note.step % 2 == 0 else y
        items += [disc(chord.x + half + wide + 2.8 + 3.2 * k, raised, 1.0) for k in range(chord.event.dots)]
        yield ItemGroup(tuple(items), "staff-note", drawn_event(system.grid.timeline, note.mark.sound))


def _bends(system: PlacedSystem, chord: StaffChord, up: bool) -> Iterator[ItemGroup]:
    """Yield the bends of a chord: over its highest note and under its lowest, a single one on the side without a stem."""
    middle = (chord.top + chord.bottom) / 2
    for note in chord.notes:
        if note.targets:
            above = not up if len(chord.notes) == 1 else step_y(note.step) < middle
            event = drawn_event(system.grid.timeline, note.mark.sound)
            yield ItemGroup(tuple(draw_bend(note, chord.event, chord.x, above)), "staff-bend", event)


def _head_sign(note: StaffNote, event: RhythmEvent) -> str:
    if note.is_x:
        return "head-x"
    return "head-4" if event.base * 4 <= 1 else "head-2" if event.base < 1 else "head-1"


def _accidental(note: StaffNote, right: float) -> Item:
    """The sign before a head; it ends at `right`."""
    width = music_sign(note.accidental).width * SIGN
    return place_sign(note.accidental, right - width, step_y(note.step) - SIGN_MIDDLE[note.accidental] * SIGN, SIGN)


def _shifted(notes: Sequence[StaffNote], up: bool) -> set[int]:
    """The heads that stand on the other side of the stem, since the one beside them is only a step away."""
    found: set[int] = set()
    before: int | None = None
    for n in sorted(range(len(notes)), key=lambda n: notes[n].step if up else -notes[n].step):
        if before is not None and abs(notes[n].step - notes[before].step) <= 1 and before not in found:
            found.add(n)
        before = n
    return found


def _rest(event: RhythmEvent, x: float) -> Iterator[Item]:
    right = x + 4.0
    if event.base >= 1:
        yield box(x - 4.0, -SPACE, x + 4.0, -SPACE / 2)
    elif event.base * 2 >= 1:
        yield box(x - 4.0, -SPACE / 2, x + 4.0, 0.0)
    else:
        name = _RESTS[min(32, event.base.denominator)]
        half = music_sign(name).width * SPACE / 2
        yield place_sign(name, x - half, 0.0, SPACE)
        right = x + half
    for n in range(event.dots):
        yield disc(right + 2.5 + 3.0 * n, -SPACE / 2, 0.9)


def _ties(system: PlacedSystem, chord: StaffChord, up: bool, seen: dict[int, float]) -> Iterator[ItemGroup]:
    """Ties to the note written before for the same sound."""
    for note in chord.notes:
        sound = note.mark.sound
        if note.mark.held:
            x = seen.get(sound.index, system.left)
            y = step_y(note.step) + (4.0 if up else -4.0)
            arc = lens(x + 2.0, chord.x - 2.0, y, -3.0 if up else 3.0)
            yield ItemGroup((arc,), "staff-tie", drawn_event(system.grid.timeline, sound))
        places = target_places(note, chord.event)
        seen[sound.index] = chord.x + (places[-1] if places else 0.0)
