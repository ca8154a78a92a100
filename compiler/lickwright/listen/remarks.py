"""What there is to say about a pass, one remark for each thing, in musical order.

In: a `JudgedPass` and the lick's Timeline. Out: `Remark`s with their place, and their sentence in a player's words, as a comparison of two files has them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from itertools import groupby
from typing import NamedTuple

from lickwright.compare.diff import score_position
from lickwright.compare.model import DifferenceKind, ScorePosition
from lickwright.compare.wording import fret_in_words, length_in_words
from lickwright.listen.deviations import FLAT, NO_VIBRATO, is_bend_missing, note_deviations
from lickwright.listen.model import ExtraNote, HeardNote, JudgedPass, NoteVerdict
from lickwright.music.pitch import pitch_name
from lickwright.music.steps import interval_words
from lickwright.report.console import counted_noun
from lickwright.timeline.model import SoundingNote, Timeline, bar_name

_HOLE = 4  # onsets that are missing one after the other from which on that is said once
# Of a whole note: what players name, and what they name in a lick that has triplets.
_VALUES = tuple(Fraction(1, n) for n in (1, 2, 4, 8, 16, 32))
_TRIPLETS = tuple(Fraction(1, n) for n in (6, 12, 24))


class Remark(NamedTuple):
    """One thing that was played otherwise than written."""

    kind: DifferenceKind
    place: ScorePosition
    time: int  # which time the bar is played, from 0
    sound: SoundingNote
    words: str
    about: str  # "note", "time", "bend", "release", "vibrato"
    at: float  # seconds in the recording; -1 where nothing was heard

    @property
    def place_words(self) -> str:
        """Where it is: `bar 2, beat 1 &`."""
        return f"{bar_name(self.place.bar, self.time)}, beat {self.place.beat}"


def find_remarks(timeline: Timeline, one: JudgedPass) -> list[Remark]:
    """Return the remarks about a pass, in musical order."""
    holes = _holes(one.notes)
    within = {id(note) for hole in holes for note in hole}
    found = [remark for note in one.notes if id(note) not in within for remark in _of_note(timeline, note, one.pace)]
    found += [_of_hole(timeline, one.notes, hole) for hole in holes]
    found += [_of_extra(timeline, extra) for extra in one.extras]
    order = {note.sound.index: n for n, note in enumerate(one.notes)}
    return sorted(found, key=lambda r: order[r.sound.index])


def _holes(notes: Sequence[HeardNote]) -> list[list[HeardNote]]:
    """Return the runs of notes that were left out together; what cannot be told does not part them."""
    told = [note for note in notes if note.verdict is not NoteVerdict.UNTOLD]
    runs = (
        list(run) for missing, run in groupby(told, key=lambda note: note.verdict is NoteVerdict.MISSING) if missing
    )
    return [run for run in runs if len({note.sound.start for note in run}) >= _HOLE]


def _of_hole(timeline: Timeline, notes: Sequence[HeardNote], hole: Sequence[HeardNote]) -> Remark:
    """Return the one remark about notes of a pass that were left out together."""
    first, last = hole[0].sound, hole[-1].sound
    place, end = score_position(timeline, first), score_position(timeline, last)
    count, times = counted_noun(len(hole), "note"), (first.pass_no, last.pass_no)
    bars = {note.sound.bar for note in hole}
    whole = sum(note.sound.bar in bars and note.verdict is not NoteVerdict.UNTOLD for note in notes) == len(hole)
    if whole and first.bar == last.bar:
        words = f"all of {bar_name(place.bar, times[0])} is missing: {count}"
    elif whole:
        words = f"all from {bar_name(place.bar, times[0])} to {bar_name(end.bar, times[1])} is missing: {count}"
    else:
        until = "" if first.bar == last.bar else f"{bar_name(end.bar, times[1])}, "
        frets = f"from {fret_in_words(timeline, first)} to {fret_in_words(timeline, last)}"
        words = f"{count} missing, {frets} at {until}beat {end.beat}"
    return Remark(DifferenceKind.MISSING, place, first.pass_no, first, words, "note", -1.0)


def _of_note(timeline: Timeline, note: HeardNote, pace: float) -> Iterator[Remark]:
    place, where = score_position(timeline, note.sound), fret_in_words(timeline, note.sound)
    at = -1.0 if note.onset is None else note.onset
    for kind, about in note_deviations(note):
        words = f"missing: {where}" if kind is DifferenceKind.MISSING else _WORDS[about](timeline, note, where, pace)
        yield Remark(
            kind, place, note.sound.pass_no, note.sound, words, about.removeprefix("late ").removeprefix("pre-"), at
        )


def _wrong_words(timeline: Timeline, note: HeardNote, where: str, pace: float) -> str:
    heard = note.pitch if note.pitch is not None else note.written
    off = heard - note.written
    shift = round(note.written - note.sound.pitch)  # capo and tuning: names are those of the frets
    name = _letter(timeline, round(heard) - shift)
    distance = "an octave" if abs(round(off)) == 12 else interval_words(off)
    return f"{where}: {name} was heard, {distance} too {'high' if off > 0 else 'low'}"


def _letter(timeline: Timeline, pitch: int) -> str:
    """Return the name of a pitch without its octave: `Bb`."""
    return pitch_name(pitch, timeline.settings.key).rstrip("-0123456789")


def lateness_words(timeline: Timeline, late: float, pace: float) -> str:
    """Return `90 ms late, about a thirty-second note` for seconds, at a pace of seconds played for each second written.

    A triplet is named only in a lick that has some, be they written or swung.
    """
    whole = 240 / float(timeline.tempos[0].qpm) * pace
    swung = timeline.settings.feel.ratio != (1, 1)
    in_triplets = swung or any(Fraction(s.start, timeline.grain).denominator % 3 == 0 for s in timeline.sounds)
    nearest = min(_VALUES + _TRIPLETS * in_triplets, key=lambda v: abs(float(v) * whole / abs(late) - 1))
    words = f"{abs(late) * 1000:.0f} ms {'late' if late > 0 else 'early'}"
    return words + (f", about {length_in_words(nearest)}" if 0.7 < float(nearest) * whole / abs(late) < 1.4 else "")


def _time_words(timeline: Timeline, note: HeardNote, where: str, pace: float) -> str:
    return f"{where} is {lateness_words(timeline, note.late or 0.0, pace)}"


def _bend_words(timeline: Timeline, note: HeardNote, where: str, pace: float) -> str:
    wanted, reached = note.bend_wanted or 0.0, note.bend_reached or 0.0
    if is_bend_missing(wanted, reached):
        return f"the bend at {where} is missing: it should go up {interval_words(wanted)}"
    off = reached - wanted
    if off > 0 and note.bend_settled is not None and abs(note.bend_settled - wanted) < FLAT:
        return f"the bend at {where} goes {interval_words(off)} too far and then comes back, {off * 100:.0f} cents"
    how = f"{interval_words(off)} {'too far' if off > 0 else 'short'}, {abs(off) * 100:.0f} cents"
    return f"the bend at {where} is {how}"


def _late_bend_words(timeline: Timeline, note: HeardNote, where: str, pace: float) -> str:
    return f"the bend at {where} is {lateness_words(timeline, note.bend_late or 0.0, pace)}"


def _pre_bend_words(timeline: Timeline, note: HeardNote, where: str, pace: float) -> str:
    return f"the bend at {where} comes after the pick: bend first, then pick"


def _release_words(timeline: Timeline, note: HeardNote, where: str, pace: float) -> str:
    return f"the bend at {where} is not released: the pitch stays {interval_words(note.release_off or 0.0)} too high"


def _late_release_words(timeline: Timeline, note: HeardNote, where: str, pace: float) -> str:
    return f"the release at {where} is {lateness_words(timeline, note.release_late or 0.0, pace)}"


def _vibrato_words(timeline: Timeline, note: HeardNote, where: str, pace: float) -> str:
    wanted, width = note.vibrato_wanted or 0.0, note.vibrato_width or 0.0
    if width < NO_VIBRATO:
        return f"the vibrato at {where} is missing"
    return f"the vibrato at {where} is narrow: {100 * width:.0f} cents wide, where {100 * wanted:.0f} are written"


# Lick, note, where it is, pace: to the sentence, by what a deviation is about.
_WORDS: dict[str, Callable[[Timeline, HeardNote, str, float], str]] = {
    "note": _wrong_words, "time": _time_words, "bend": _bend_words, "late bend": _late_bend_words, "pre-bend": _pre_bend_words,
    "release": _release_words, "late release": _late_release_words, "vibrato": _vibrato_words,
}  # fmt: skip


def _of_extra(timeline: Timeline, extra: ExtraNote) -> Remark:
    name = _letter(timeline, round(extra.pitch))
    words = f"a note too many: {name}, after {fret_in_words(timeline, extra.after)}"
    place = score_position(timeline, extra.after)
    return Remark(DifferenceKind.EXTRA, place, extra.after.pass_no, extra.after, words, "note", extra.at)
