"""What there is to say about a pass, one remark for each thing, in musical order.

In: a `JudgedPass` and the lick's Timeline. Out: `Remark`s with their place, and their sentence in a player's words, as a comparison of two files has them.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from lickwright.compare.diff import score_position
from lickwright.compare.model import DifferenceKind, ScorePosition
from lickwright.compare.wording import fret_in_words, length_in_words
from lickwright.listen.judge import FLAT, LATE_BEND, NO_BEND, NO_VIBRATO, UNRELEASED, is_vibrato_poor
from lickwright.listen.model import ExtraNote, HeardNote, JudgedPass, NoteVerdict
from lickwright.music.pitch import pitch_name
from lickwright.music.steps import interval_words
from lickwright.timeline.model import SoundingNote, Timeline

_VALUES = tuple(Fraction(1, n) for n in (1, 2, 4, 6, 8, 12, 16, 24, 32, 64))


class Remark(NamedTuple):
    """One thing that was played otherwise than written."""

    kind: DifferenceKind
    place: ScorePosition
    time: int  # which time the bar is played, from 0
    sound: SoundingNote
    words: str
    about: str  # "note", "time", "bend", "release", "vibrato"
    at: float  # seconds in the recording; -1 where nothing was heard


def find_remarks(timeline: Timeline, one: JudgedPass) -> list[Remark]:
    """Return the remarks about a pass, in musical order."""
    found = [remark for note in one.notes for remark in _of_note(timeline, note, one.pace)]
    found += [_of_extra(timeline, extra) for extra in one.extras]
    order = {note.sound.index: n for n, note in enumerate(one.notes)}
    return sorted(found, key=lambda r: order[r.sound.index])


def _of_note(timeline: Timeline, note: HeardNote, pace: float) -> Iterator[Remark]:
    place, where = score_position(timeline, note.sound), fret_in_words(timeline, note.sound)
    at = -1.0 if note.onset is None else note.onset

    def remark(kind: DifferenceKind, words: str, about: str) -> Remark:
        return Remark(kind, place, note.sound.pass_no, note.sound, words, about, at)

    kinds = note.kinds
    if note.verdict is NoteVerdict.UNTOLD:
        return
    if DifferenceKind.MISSING in kinds:
        yield remark(DifferenceKind.MISSING, f"missing: {where}", "note")
        return
    if DifferenceKind.NOTE in kinds:
        yield remark(DifferenceKind.NOTE, f"{where}: {_wrong_words(timeline, note)}", "note")
    if note.late is not None and kinds & {DifferenceKind.LATE, DifferenceKind.EARLY} and abs(note.late) >= 0.06:
        kind = DifferenceKind.LATE if note.late > 0 else DifferenceKind.EARLY
        if kind in kinds:
            yield remark(kind, f"{where} is {lateness_words(timeline, note.late, pace)}", "time")
    if note.bend_wanted is not None and note.bend_reached is not None:
        off = note.bend_reached - note.bend_wanted
        if abs(off) >= FLAT or note.bend_reached < NO_BEND * note.bend_wanted:
            kind = DifferenceKind.BEND if DifferenceKind.BEND in kinds else DifferenceKind.INTONATION
            yield remark(kind, _bend_words(where, note.bend_wanted, note.bend_reached), "bend")
    if note.bend_late is not None and note.bend_late >= LATE_BEND:
        words = f"the bend at {where} is {lateness_words(timeline, note.bend_late, pace)}"
        yield remark(DifferenceKind.LATE, words, "bend")
    if note.release_off is not None and note.release_off >= UNRELEASED:
        words = f"the bend at {where} is not released: the pitch stays {interval_words(note.release_off)} too high"
        yield remark(DifferenceKind.INTONATION, words, "release")
    if (
        note.vibrato_wanted is not None
        and note.vibrato_width is not None
        and is_vibrato_poor(note.vibrato_wanted, note.vibrato_width)
    ):
        yield remark(
            DifferenceKind.TECHNIQUE, _vibrato_words(where, note.vibrato_wanted, note.vibrato_width), "vibrato"
        )


def _wrong_words(timeline: Timeline, note: HeardNote) -> str:
    heard = note.pitch if note.pitch is not None else note.written
    off = heard - note.written
    shift = round(note.written - note.sound.pitch)  # capo and tuning: names are those of the frets
    name = _letter(timeline, round(heard) - shift)
    return f"{name} was heard, {interval_words(off)} too {'high' if off > 0 else 'low'}"


def _letter(timeline: Timeline, pitch: int) -> str:
    """Return the name of a pitch without its octave: `Bb`."""
    return pitch_name(pitch, timeline.settings.key).rstrip("-0123456789")


def lateness_words(timeline: Timeline, late: float, pace: float) -> str:
    """Return `90 ms late, about a thirty-second note` for seconds, at a pace of seconds played for each second written."""
    whole = 240 / float(timeline.tempos[0].qpm) * pace
    nearest = min(_VALUES, key=lambda v: abs(float(v) * whole / abs(late) - 1))
    words = f"{abs(late) * 1000:.0f} ms {'late' if late > 0 else 'early'}"
    return words + (f", about {length_in_words(nearest)}" if 0.7 < float(nearest) * whole / abs(late) < 1.4 else "")


def _bend_words(where: str, wanted: float, reached: float) -> str:
    if reached < NO_BEND * wanted:
        return f"the bend at {where} is missing: it should go up {interval_words(wanted)}"
    off = reached - wanted
    how = f"{interval_words(off)} {'too far' if off > 0 else 'short'}, {abs(off) * 100:.0f} cents"
    return f"the bend at {where} is {how}"


def _vibrato_words(where: str, wanted: float, width: float) -> str:
    if width < NO_VIBRATO:
        return f"the vibrato at {where} is missing"
    return f"the vibrato at {where} is narrow: {100 * width:.0f} cents wide, where {100 * wanted:.0f} are written"


def _of_extra(timeline: Timeline, extra: ExtraNote) -> Remark:
    name = _letter(timeline, round(extra.pitch))
    words = f"one note more than the lick has: {name}, after {fret_in_words(timeline, extra.after)}"
    place = score_position(timeline, extra.after)
    return Remark(DifferenceKind.EXTRA, place, extra.after.pass_no, extra.after, words, "note", extra.at)
