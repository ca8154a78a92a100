"""The notes of a MIDI file as one player plays them: strokes of a trill brought together, slides taken apart.

In: the chosen notes of a song. Out: `PlayedNote`s in order of time, in ticks, with what the words beside them say and what their pitch does.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator

from lickwright.core.fast_dataclass import field, mutable_record, replace
from lickwright.importers.midi.pitch_moves import MoveKind, PitchMove, pitch_moves
from lickwright.importers.midi.song import MidiNote, MidiSong, SongClock
from lickwright.importers.midi.technique_words import TechniqueWords, technique_words
from lickwright.importers.midi.voices import ChosenNotes
from lickwright.notation.techniques import ENTRIES, JOINS, PICKED, Technique

_TOUCH = 3  # ticks at 960 a quarter between two notes that follow one another
_AT_END = 0.03  # seconds from the end of a note, in which it is on its way to the next
_LEAVING = (MoveKind.BEND, MoveKind.RELEASE, MoveKind.SLIDE, MoveKind.SLIDE_OFF, MoveKind.DIVE)
_NO_WORDS = TechniqueWords()


@mutable_record
class PlayedNote:
    """One note."""

    on: int  # ticks
    off: int
    pitch: int  # as heard, before any move
    string: int  # 0 where the file does not say
    velocity: int
    words: TechniqueWords = _NO_WORDS
    begin: Technique = PICKED
    moves: list[PitchMove] = field(default_factory=list)  # seconds from its start
    legato: bool = False
    line: tuple[int, int] = (0, 0)  # track and channel


def played_notes(song: MidiSong, chosen: ChosenNotes) -> list[PlayedNote]:
    """Return the notes in order of time."""
    clock = SongClock(song)
    words = {
        (track, tick): read
        for track, said in song.words.items()
        for tick, text in said
        if (read := technique_words(text)) is not None
    }
    lines: defaultdict[tuple[int, int], list[MidiNote]] = defaultdict(list)
    for note in chosen.notes:
        lines[note.track, note.channel].append(note)
    found: list[PlayedNote] = []
    for line, notes in lines.items():
        string = chosen.strings.get(line, 0)
        single = [
            part
            for note in _strokes_together(notes, words, song.ticks_a_quarter)
            for part in _taken_apart(note, words, string, clock, song)
        ]
        found += list(_connected(single, song.ticks_a_quarter, clock)) if string else single
    return sorted(found, key=lambda note: (note.on, note.pitch))


def _strokes_together(
    notes: Iterable[MidiNote], words: dict[tuple[int, int], TechniqueWords], quarter: int
) -> Iterator[MidiNote]:
    """Yield the notes, the strokes of a trill or tremolo as one."""
    open_note: MidiNote | None = None
    for note in notes:
        said = words.get((note.track, note.on))
        follows = open_note is not None and said is None and note.on - open_note.off <= max(1, _TOUCH * quarter // 960)
        if follows and open_note is not None and abs(note.pitch - open_note.pitch) <= 12:
            open_note.off = note.off
            continue
        if open_note is not None:
            yield open_note
            open_note = None
        if said is not None and said.repeated:
            open_note = replace(note, curve=note.curve[:1])
        else:
            yield note
    if open_note is not None:
        yield open_note


def _taken_apart(
    note: MidiNote, words: dict[tuple[int, int], TechniqueWords], string: int, clock: SongClock, song: MidiSong
) -> Iterator[PlayedNote]:
    """Yield a note, and each note that it slides on to without being struck again."""
    said = words.get((note.track, note.on), _NO_WORDS)
    slides = [tick for tick in sorted(words_at(words, note)) if note.on < tick < note.off]
    cuts = [note.on, *slides, note.off]
    pitch = note.pitch
    for n, (on, off) in enumerate(zip(cuts, cuts[1:], strict=False)):
        part = words[note.track, on] if n else said
        base = pitch - note.pitch
        moves = _moves(note, on, off, base, clock)
        if n + 1 < len(cuts) - 1:
            moves = _without_way_on(moves, clock.seconds(off) - clock.seconds(on))
        played = PlayedNote(
            on, off, pitch, string, note.velocity, part, part.begin or PICKED, moves, note.legato and not n, (note.track, note.channel)
        )  # fmt: skip
        if slides or not any(move.kind is MoveKind.SLIDE for move in moves):
            yield played
        else:
            yield from _slid(played, clock, song)
        if n + 1 < len(cuts) - 1:
            pitch = note.pitch + round(_value_at(note, off))


def words_at(words: dict[tuple[int, int], TechniqueWords], note: MidiNote) -> set[int]:
    """Return the ticks within a note at which words say that it slides on."""
    return {
        tick
        for (track, tick), said in words.items()
        if track == note.track and note.on < tick < note.off and said.begin in (JOINS["/"], JOINS["\\"])
    }


def _moves(note: MidiNote, on: int, off: int, base: int, clock: SongClock) -> list[PitchMove]:
    """Return what the pitch does from one tick to another, above `base` semitones."""
    origin = clock.seconds(on)
    points = [(tick, value) for tick, value in note.curve if on < tick < off]
    times = [0.0, *(clock.seconds(tick) - origin for tick, _ in points)]
    values = [_value_at(note, on) - base, *(value - base for _, value in points)]
    return pitch_moves(times, values, clock.seconds(off) - origin)


def _without_way_on(moves: list[PitchMove], length: float) -> list[PitchMove]:
    """Return the moves of a note of a length without the way to the note that it slides on to."""
    return [move for move in moves if move.kind not in _LEAVING or move.end < length - _AT_END]


def _value_at(note: MidiNote, tick: int) -> float:
    return [value for at, value in note.curve if at <= tick][-1]


def _slid(played: PlayedNote, clock: SongClock, song: MidiSong) -> Iterator[PlayedNote]:
    """Yield the notes of one that slides to other frets and stays there, where no words say when."""
    slide = next(move for move in played.moves if move.kind is MoveKind.SLIDE)
    at = _tick_at(played.on, slide.end, clock)
    before = [move for move in played.moves if move.end <= slide.start]
    if at <= played.on or at >= played.off:
        yield replace(played, moves=before)
        return
    level = round(slide.level)
    yield replace(played, off=at, moves=before)
    shifted = [
        move._replace(start=move.start - slide.end, end=move.end - slide.end, level=move.level if move.kind is MoveKind.VIBRATO else move.level - level)
        for move in played.moves
        if move.start >= slide.end
    ]  # fmt: skip
    sign = "/" if level > 0 else "\\"
    following = replace(
        played, on=at, pitch=played.pitch + level, begin=JOINS[sign], moves=shifted, words=_NO_WORDS, legato=False
    )
    if any(move.kind is MoveKind.SLIDE for move in shifted):
        yield from _slid(following, clock, song)
    else:
        yield following


def _tick_at(on: int, seconds: float, clock: SongClock) -> int:
    """Return the tick so many seconds after another."""
    return on + round(seconds / clock.pace(on))


def _connected(notes: list[PlayedNote], quarter: int, clock: SongClock) -> Iterator[PlayedNote]:
    """Yield the notes of one string, each with how it goes on from the one before, where the file tells."""
    before: PlayedNote | None = None
    for note in notes:
        meets = before is not None and note.on - before.off <= max(1, _TOUCH * quarter // 960)
        if meets and before is not None and note.begin is PICKED:
            note.begin = _connection(before, note)
        if note.begin is JOINS["t"] and not meets:
            note.begin = ENTRIES["t"]
        if before is not None and note.begin in (JOINS["//"], JOINS["\\\\"]):
            before.moves = _without_way_on(before.moves, clock.seconds(before.off) - clock.seconds(before.on))
        before = note
        yield note


def _connection(before: PlayedNote, note: PlayedNote) -> Technique:
    """Return how a note goes on from the one before, at whose end it begins: by the legato pedal, or where that one has slid to its pitch."""
    up = note.pitch > before.pitch
    if note.legato and note.pitch != before.pitch:
        return JOINS["h" if up else "p"]
    ways = [move for move in before.moves if move.kind in _LEAVING and move.end > move.start]
    if ways and round(ways[-1].level) == note.pitch - before.pitch:
        return JOINS["//" if up else "\\\\"]
    return PICKED
