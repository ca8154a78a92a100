"""What a move aims at: the key, box and tuning arrived in, how far pitches go, and the fields that say so.

In: a counted lick and a wish. Out: `Aim`s, the likeliest first (the nearest octave, then the next). Places no note.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from lickwright.core.fast_dataclass import record, replace
from lickwright.music.box import BLUE, Area, BoxSpec, box_area, parse_box
from lickwright.music.chord import REPEAT_SIGNS, parse_chord
from lickwright.music.pitch import Key, parse_key
from lickwright.music.positions import is_minor, number_of, pentatonic_boxes, shape_of
from lickwright.music.scale import Scale, default_scale, parse_scale
from lickwright.music.tuning import Tuning, parse_tuning
from lickwright.notation.tree import Book, Comment, Field, Lick
from lickwright.settings.fields import Settings
from lickwright.timeline.model import Timeline
from lickwright.transform.moves.note_positions import NotePositions

OCTAVE = 12


@record
class MoveTarget:
    """Where a lick should arrive."""

    by: str  # "pitch" or "shape"
    semitones: int  # how far its pitches go; by shape, how many frets
    key: Key | None
    scale: Scale | None
    box: BoxSpec | None  # what the `box` line will say; None: as it is, or worked out from the frets
    area: Area | None
    tuning: Tuning
    frets: int  # counted from the capo
    shape_first: bool  # whether the whole shape may simply go along
    keeps_pitch: bool  # False where a shape goes into a tuning that sounds otherwise
    fingered: int = (
        0  # frets that the hand goes on by where the shape goes along: the semitones, less what the tuning does
    )
    folded: str = ""  # "an octave lower", where the nearest octave was not to be had
    said: tuple[str, ...] = ()


def move_targets(
    timeline: Timeline, key: str | None, box: str | None, octave: int, tuning: str | None, by: str
) -> Iterator[MoveTarget]:
    """What is aimed at; raises `ValueError` where the wish makes no sense for this lick."""
    settings = timeline.settings
    to_key = _key(settings, key)
    to_tuning = parse_tuning(tuning) if tuning else settings.tuning
    spec = parse_box(box) if box else settings.box
    if box and by == "shape":
        raise ValueError("a shape keeps its fingering, and every box has its own: move to a box by pitch")
    if tuning and by == "shape" and to_tuning.strings < settings.tuning.strings:
        raise ValueError(f"{to_tuning} has fewer strings than the lick was written for")
    interval = (to_key.tonic.pc - settings.key.tonic.pc) % OCTAVE if to_key and settings.key else 0
    near = interval - OCTAVE if interval > OCTAVE // 2 else interval
    first = near + OCTAVE * octave
    others = [first - OCTAVE, first + OCTAVE] if not octave else []
    scale = _scale(timeline) if box and spec and spec.numbers else settings.scale
    for semitones in (first, *others):
        folded = "" if semitones == first else f"an octave {'lower' if semitones < first else 'higher'}"
        yield _aim(settings, scale, semitones, to_key, spec, bool(box), to_tuning, bool(tuning), by, folded)


def _key(settings: Settings, wanted: str | None) -> Key | None:
    if wanted is None:
        return settings.key
    if settings.key is None:
        raise ValueError("the lick names no key, so there is none to move it from: add its `key` line")
    key = parse_key(wanted)
    if key.mode != settings.key.mode:
        raise ValueError(
            f"a move keeps the mode: {settings.key} can go to {key.tonic} {settings.key.mode}, not to {key}"
        )
    return key


def _scale(timeline: Timeline) -> Scale | None:
    """The lick's scale; where it names none and has no notes beyond the pentatonic, that, whose boxes have numbers."""
    settings = timeline.settings
    key, scale = settings.key, settings.scale
    if key is None or scale is None or "scale" in settings.written:
        return scale
    five = default_scale(key, numbered_box=True)
    known = {*five.semitones, BLUE["minor" if is_minor(five) else "major"].semitones}
    notes = (s for s in timeline.sounds if not s.dead and not s.harmonic)
    return five if all((round(s.pitch) - key.tonic.pc) % OCTAVE in known for s in notes) else scale


def _aim(
    settings: Settings, scale: Scale | None, semitones: int, key: Key | None, spec: BoxSpec | None, new_box: bool, tuning: Tuning, new_tuning: bool,
    by: str, folded: str,
) -> MoveTarget:  # fmt: skip
    frets = max(1, settings.frets - settings.capo)
    fingered = semitones
    said: tuple[str, ...] = ()
    if by == "pitch" and tuning.shift != settings.tuning.shift:  # what sounds as before is fingered in another key
        fingered += settings.tuning.shift - tuning.shift
        key = key.transposed(fingered - semitones) if key else None
        said = (f"fingered in {key}, it sounds as before",) if key else ()
    if new_box and spec is not None:
        spec = _understood(spec, settings, scale, key, tuning, frets)
    moved = spec if new_box or spec is None else _shifted(spec, fingered, settings, frets)
    if new_tuning and not new_box and not tuning.standard_intervals:
        moved = None  # boxes by number or shape want the standard intervals; the frets played will be named
    here = box_area(moved, key, scale, tuning, frets, settings.numbering) if moved and (key or moved.window) else None
    return MoveTarget(
        by, semitones, key, scale, moved, here, tuning, frets,
        shape_first=not new_box and (by == "shape" or not new_tuning),
        keeps_pitch=not (new_tuning and by == "shape"), fingered=fingered, folded=folded, said=said,
    )  # fmt: skip


def _understood(
    spec: BoxSpec, settings: Settings, scale: Scale | None, key: Key | None, tuning: Tuning, frets: int
) -> BoxSpec:
    """A box number for a scale or tuning that has none: the shape of the same number, else the frets where it lies.

    So that "box 3" means the same part of the neck for every lick in a key.
    """
    if key is None or scale is None or len(spec.numbers) != 1:
        return spec
    numbered = scale.is_pentatonic_family
    if tuning.standard_intervals and numbered:
        return spec
    index = next(n for n in range(5) if number_of(n, is_minor(scale), settings.numbering) == spec.numbers[0])
    if tuning.standard_intervals and scale.notes == 7:
        return BoxSpec(shape=shape_of(index, is_minor(scale)).removesuffix(" shape"), at=spec.at)
    five = parse_scale("minor pentatonic" if is_minor(scale) else "major pentatonic", key)
    usual = parse_tuning("bass" if tuning.is_bass else "standard")
    boxes = [b for b in pentatonic_boxes(key, five, usual, frets, settings.numbering) if b.label == f"box {spec}"]
    low = spec.at or 0
    best = min(boxes, key=lambda box: abs(box.low - low), default=None)
    return spec if best is None else BoxSpec(window=(best.low, best.high))


def _shifted(spec: BoxSpec, semitones: int, settings: Settings, frets: int) -> BoxSpec | None:
    """The same box line so many frets on: windows and places move, numbers and shapes stay what they are."""
    if spec.window is not None:
        low, high = (fret + semitones for fret in spec.window)
        return spec._replace(window=(max(0, low), high)) if 0 <= high <= frets else None
    if spec.at is not None:
        return spec._replace(at=max(0, min(frets, spec.at + semitones)))
    return spec


# --- fields ------------------------------------------------------------------------------------------------------


def moved_fields(
    lick: Lick, book: Book, old: Timeline, aim: MoveTarget, places: NotePositions
) -> tuple[Field | Comment, ...]:
    """The lick's fields for where it arrives; those that its file says for it are said by the lick itself where they change."""
    settings = old.settings
    first = settings.origin or old.title  # a family goes back to its first lick, however often it was moved
    changes: dict[str, str | None] = {"from": _title(first)}
    if aim.key is not None and aim.key != settings.key:
        changes["key"] = str(aim.key)
        chords = _written(lick, book, "chords")
        if chords is not None:
            changes["chords"] = _chords(
                chords, aim.key.tonic.pc - (settings.key.tonic.pc if settings.key else 0), aim.key
            )
    if aim.tuning != settings.tuning:
        changes["tuning"] = str(aim.tuning)
    numbered = bool(aim.box and aim.box.numbers)
    if aim.key and aim.scale and "scale" not in settings.written and aim.scale != default_scale(aim.key, numbered):
        changes["scale"] = aim.scale.name
    if settings.box != aim.box and (aim.box is not None or settings.box is not None):
        changes["box"] = str(aim.box or _window(places))
    out: list[Field | Comment] = []
    for entry in lick.fields:
        text = changes.pop(entry.name, None) if isinstance(entry, Field) else None
        out.append(replace(entry, text=text, raw=text) if isinstance(entry, Field) and text is not None else entry)
    return (*out, *(Field(name, text) for name, text in changes.items() if text is not None))


def _title(title: str) -> str:
    """A title as the value of a field; in quotes where it would begin a comment."""
    return '"' + title.replace('"', "'") + '"' if "#" in title else title


def _window(places: NotePositions) -> BoxSpec:
    frets = [fret for _, fret in places.at.values() if fret]
    return BoxSpec(window=(min(frets), max(frets))) if frets else BoxSpec()


def _written(lick: Lick, book: Book, name: str) -> str | None:
    for entries in (lick.fields, book.head):
        for entry in entries:
            if isinstance(entry, Field) and entry.name == name:
                return entry.text
    return None


def _chords(text: str, semitones: int, key: Key) -> str:
    """Every chord symbol of a `chords` line moved; bars and signs stay."""

    def moved(match: re.Match[str]) -> str:
        chord = None if match[0] in REPEAT_SIGNS else parse_chord(match[0])
        return match[0] if chord is None else str(chord.transposed(semitones, key))

    return re.sub(r"[^\s|]+", moved, text)
