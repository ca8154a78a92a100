"""The target of a move: the key, box and tuning arrived in, how far pitches go, and the fields that say so.

In: a counted lick and a `MoveRequest`. Out: `MoveTarget`s, the likeliest first (the nearest octave, then the next). Places no note.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from lickwright.core.fast_dataclass import record, replace
from lickwright.music.box_area import Area, box_area
from lickwright.music.boxspec import BoxSpec, parse_box
from lickwright.music.chord import REPEAT_SIGNS, parse_chord
from lickwright.music.pitch import Key, parse_key
from lickwright.music.scale import Scale, default_scale, parse_scale
from lickwright.music.scale_boxes import BLUE, is_minor, number_of, pentatonic_boxes, shape_of
from lickwright.music.tuning import Tuning, parse_tuning
from lickwright.notation.tree import Book, Comment, Field, Lick
from lickwright.settings.fields import Settings
from lickwright.timeline.model import Timeline
from lickwright.transform.moves.note_positions import NotePositions

OCTAVE = 12


@record
class MoveRequest:
    """Where a lick should go. Fields as in the notation; None keeps what the lick has."""

    key: str | None = None
    box: str | None = None
    octave: int = 0  # 1 up, -1 down
    tuning: str | None = None
    by: str = "pitch"  # or "shape"


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
    keeps_pitch: bool  # False where a shape goes into a tuning of other pitches
    fingered: int = (
        0  # frets that the hand goes on by where the shape goes along: the semitones, less what the tuning does
    )
    folded: str = ""  # "an octave lower", where the nearest octave was not to be had
    said: tuple[str, ...] = ()


def move_targets(timeline: Timeline, request: MoveRequest) -> Iterator[MoveTarget]:
    """Yield where a lick may arrive: in the nearest octave, then in those beside it, unless an octave is asked for.

    Raises `ValueError`, in a player's words, where a value cannot be read or the request makes no sense for this lick.
    """
    settings = timeline.settings
    key = _key(settings, request.key)
    tuning = parse_tuning(request.tuning) if request.tuning else settings.tuning
    box = parse_box(request.box) if request.box else settings.box
    _refuse_by_shape(request, settings, tuning)
    scale = _scale(timeline) if request.box and box and box.numbers else settings.scale
    first = _nearest_interval(settings.key, key) + OCTAVE * request.octave
    others = () if request.octave else (first - OCTAVE, first + OCTAVE)
    for semitones in (first, *others):
        folded = "" if semitones == first else f"an octave {'lower' if semitones < first else 'higher'}"
        yield _target(settings, request, semitones, folded, key, scale, box, tuning)


def _refuse_by_shape(request: MoveRequest, settings: Settings, tuning: Tuning) -> None:
    if request.by != "shape":
        return
    if request.box:
        raise ValueError("a shape keeps its fingering, and every box has its own: move to a box by pitch")
    if tuning.strings < settings.tuning.strings:
        raise ValueError(f"{tuning} has fewer strings than the lick was written for")


def _nearest_interval(old: Key | None, new: Key | None) -> int:
    """Return the semitones from one tonic up or down to the nearest of the other; a tritone goes up."""
    interval = (new.tonic.pc - old.tonic.pc) % OCTAVE if new and old else 0
    return interval - OCTAVE if interval > OCTAVE // 2 else interval


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
    """Return the lick's scale; where it names none and has no notes beyond the pentatonic, that one, whose boxes have numbers."""
    settings = timeline.settings
    key, scale = settings.key, settings.scale
    if key is None or scale is None or "scale" in settings.written:
        return scale
    five = default_scale(key, numbered_box=True)
    known = {*five.semitones, BLUE["minor" if is_minor(five) else "major"].semitones}
    notes = (s for s in timeline.sounds if not s.dead and not s.harmonic)
    return five if all((round(s.pitch) - key.tonic.pc) % OCTAVE in known for s in notes) else scale


def _target(
    settings: Settings, request: MoveRequest, semitones: int, folded: str,
    key: Key | None, scale: Scale | None, box: BoxSpec | None, tuning: Tuning,
) -> MoveTarget:  # fmt: skip
    new_box, new_tuning, by_shape = bool(request.box), bool(request.tuning), request.by == "shape"
    frets = max(1, settings.frets - settings.capo)
    fingered = semitones
    said: tuple[str, ...] = ()
    if not by_shape and tuning.shift != settings.tuning.shift:  # what sounds as before is fingered in another key
        fingered += settings.tuning.shift - tuning.shift
        key = key.transposed(fingered - semitones) if key else None
        said = (f"fingered in {key}, it sounds as before",) if key else ()
    if box is not None:
        box = _target_box(box, request, settings, scale, key, tuning, fingered)
    return MoveTarget(
        request.by, semitones, key, scale, box, _area(box, key, scale, tuning, frets, settings.numbering), tuning, frets,
        shape_first=not new_box and (by_shape or not new_tuning),
        keeps_pitch=not (new_tuning and by_shape), fingered=fingered, folded=folded, said=said,
    )  # fmt: skip


def _target_box(
    box: BoxSpec, request: MoveRequest, settings: Settings, scale: Scale | None, key: Key | None, tuning: Tuning, fingered: int
) -> BoxSpec | None:  # fmt: skip
    """Return what the `box` line will say; None where the frets played will be named instead."""
    frets = max(1, settings.frets - settings.capo)
    if request.box:
        return _box_for_scale(box, settings, scale, key, tuning, frets)
    if request.tuning and not tuning.standard_intervals:
        return None  # boxes by number or shape need the standard intervals
    return _shifted(box, fingered, settings, frets)


def _area(
    box: BoxSpec | None, key: Key | None, scale: Scale | None, tuning: Tuning, frets: int, numbering: str
) -> Area | None:
    """Return the places of a box; None where it cannot be known without a key."""
    return box_area(box, key, scale, tuning, frets, numbering) if box and (key or box.window) else None


def _box_for_scale(
    spec: BoxSpec, settings: Settings, scale: Scale | None, key: Key | None, tuning: Tuning, frets: int
) -> BoxSpec:
    """Return what a box number means for a scale or tuning without numbered boxes, so that "box 3" is the same part of the neck.

    That is the shape of the same number, else the frets where it lies.
    """
    if key is None or scale is None or len(spec.numbers) != 1:
        return spec
    if tuning.standard_intervals and scale.is_pentatonic_family:
        return spec
    if tuning.standard_intervals and scale.notes == 7:
        minor = is_minor(scale)
        index = next(n for n in range(5) if number_of(n, minor, settings.numbering) == spec.numbers[0])
        return BoxSpec(shape=shape_of(index, minor).removesuffix(" shape"), at=spec.at)
    return _window_of_number(spec, settings, scale, key, tuning, frets)


def _window_of_number(spec: BoxSpec, settings: Settings, scale: Scale, key: Key, tuning: Tuning, frets: int) -> BoxSpec:
    """Return the frets of a numbered pentatonic box in the usual tuning, the one nearest to where `spec` says."""
    five = parse_scale("minor pentatonic" if is_minor(scale) else "major pentatonic", key)
    usual = parse_tuning("bass" if tuning.is_bass else "standard")
    boxes = [b for b in pentatonic_boxes(key, five, usual, frets, settings.numbering) if b.label == f"box {spec}"]
    best = min(boxes, key=lambda box: abs(box.low - (spec.at or 0)), default=None)
    return spec if best is None else BoxSpec(window=(best.low, best.high))


def _shifted(spec: BoxSpec, semitones: int, settings: Settings, frets: int) -> BoxSpec | None:
    """Return the same box line so many frets on: windows and places move, numbers and shapes stay what they are."""
    if spec.window is not None:
        low, high = (fret + semitones for fret in spec.window)
        return spec._replace(window=(max(0, low), high)) if 0 <= high <= frets else None
    if spec.at is not None:
        return spec._replace(at=max(0, min(frets, spec.at + semitones)))
    return spec


# --- fields ------------------------------------------------------------------------------------------------------


def moved_fields(
    lick: Lick, book: Book, old: Timeline, target: MoveTarget, places: NotePositions
) -> tuple[Field | Comment, ...]:
    """Return the lick's fields for where it arrives.

    A field of the file's head that changes is written into the lick itself.
    """
    first = old.settings.origin or old.title  # a family goes back to its first lick, however often it was moved
    changes = {"from": _title(first)}
    changes |= _changed_key(lick, book, old.settings, target)
    changes |= _changed_place(old.settings, target, places)
    out: list[Field | Comment] = []
    for entry in lick.fields:
        text = changes.pop(entry.name, None) if isinstance(entry, Field) else None
        out.append(replace(entry, text=text, raw=text) if isinstance(entry, Field) and text is not None else entry)
    return (*out, *(Field(name, text) for name, text in changes.items()))


def _changed_key(lick: Lick, book: Book, settings: Settings, target: MoveTarget) -> dict[str, str]:
    """Return the `key` line and the chords over the music, where the key is another."""
    if target.key is None or target.key == settings.key:
        return {}
    changes = {"key": str(target.key)}
    chords = _written(lick, book, "chords")
    if chords is not None:
        semitones = target.key.tonic.pc - (settings.key.tonic.pc if settings.key else 0)
        changes["chords"] = _transposed_chords(chords, semitones, target.key)
    return changes


def _changed_place(settings: Settings, target: MoveTarget, places: NotePositions) -> dict[str, str]:
    """Return the lines of tuning, scale and box that change."""
    changes: dict[str, str] = {}
    if target.tuning != settings.tuning:
        changes["tuning"] = str(target.tuning)
    if target.key and target.scale and "scale" not in settings.written:
        usual = default_scale(target.key, bool(target.box and target.box.numbers))
        changes |= {"scale": target.scale.name} if target.scale != usual else {}
    if settings.box != target.box:
        changes["box"] = str(target.box or _window(places))
    return changes


def _title(title: str) -> str:
    """Return a title as the value of a field; in quotes where it would begin a comment."""
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


def _transposed_chords(text: str, semitones: int, key: Key) -> str:
    """Return a `chords` line with every chord symbol moved; bars and signs stay."""

    def moved(match: re.Match[str]) -> str:
        chord = None if match[0] in REPEAT_SIGNS else parse_chord(match[0])
        return match[0] if chord is None else str(chord.transposed(semitones, key))

    return re.sub(r"[^\s|]+", moved, text)
