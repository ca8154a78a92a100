"""The state of each string while a lick is played: which sound is alive, whether it rings on, whether it is bent.

In: strokes and shapes in order. Out: the ends and shapes of sounds, set on the `SoundingNote`s. Nothing is judged or
reported here.
"""

from __future__ import annotations

from collections.abc import Collection
from fractions import Fraction

from lickwright.core.fast_dataclass import mutable_record
from lickwright.core.source import Span
from lickwright.music.tuning import Tuning
from lickwright.notation.techniques import HELD_BEND, UPWARD_BENDS, Curve, Stroke
from lickwright.notation.tree import MarkNode
from lickwright.timeline.model import PitchGesture, SoundingNote

_STANDARD = {"e": 1, "B": 2, "G": 3, "D": 4, "A": 5, "E": 6}
_BASS = {"G": 1, "D": 2, "A": 3, "E": 4, "B": 5}


@mutable_record
class StringState:
    """The state of one string."""

    sound: SoundingNote | None = None  # None: silence
    rings: bool = False  # until its string is played again
    ring_word: int | None = None  # the `(ring: …)` that it belongs to, whose end lets the next note stop it
    bend: float = 0.0  # semitones that the string is bent by now
    finger: int | None = None  # the fret where a finger holds the bend, while a tap sounds above it

    @property
    def bent(self) -> bool:
        """True if the string is bent now."""
        return self.bend > 0


class StringStates:
    """The strings of one tuning. Numbers count from 1, the thinnest."""

    def __init__(self, tuning: Tuning) -> None:
        self.tuning = tuning
        self._strings = [StringState() for _ in range(tuning.strings + 1)]  # index 0 unused
        self._sounding: set[int] = set()  # the strings that are not silent
        self._numbers: dict[str, int] = {}  # string as written → number, 0 where the tuning has none

    def __getitem__(self, number: int) -> StringState:
        return self._strings[number]

    def number(self, name: str) -> int:
        """Return the string that a letter or number names in this tuning; 0 where there is none."""
        number = self._numbers.get(name)
        if number is None:
            number = int(name[:-1]) if name[-1] == ":" else self.tuning.letters.get(name, 0)
            self._numbers[name] = number = number if number <= self.tuning.strings else 0
        return number

    def usual(self, letter: str) -> int:
        """Return the string that players mean by a letter which does not hold in this tuning."""
        return min((_BASS if self.tuning.is_bass else _STANDARD).get(letter, self.tuning.strings), self.tuning.strings)

    def stop(self, number: int, now: int) -> None:
        """End what sounds on a string; a vibrato lasts until its note ends."""
        string = self._strings[number]
        sound = string.sound
        if sound is None:
            return
        if sound.kind not in ("grace", "rake"):
            sound.end = now
            if sound.shapes and sound.shapes[-1].technique.curve is Curve.VIBRATO:
                sound.shapes[-1].end = now
        string.sound = None
        self._sounding.discard(number)

    def stop_all(self, now: int) -> None:
        """End what sounds on all strings."""
        for number in tuple(self._sounding):
            self.stop(number, now)

    def rest(self, words: Collection[int], now: int) -> None:
        """End everything except what a `(ring: …)` over this very rest lets go on; `words` are those over the rest."""
        for number in tuple(self._sounding):
            string = self._strings[number]
            if string.rings or string.ring_word is None or string.ring_word not in words:
                self.stop(number, now)

    def end_others(self, numbers: Collection[int], words: Collection[int], now: int) -> None:
        """End, at a stroke on `numbers`, every other string that does not ring on; `words` are those over the stroke."""
        for number in tuple(self._sounding):
            string = self._strings[number]
            if number in numbers or string.rings:
                continue
            if string.ring_word is None or string.ring_word not in words:
                self.stop(number, now)

    def begin(self, sound: SoundingNote, ring_word: int | None) -> None:
        """Begin a sound on its string, and end what was there."""
        string = self._strings[sound.string]
        before = string.sound
        if before is not None:
            self.stop(sound.string, sound.start)
            if string.bend:
                self._hold_bend(string, before, sound)
        self._sounding.add(sound.string)
        if before is None:
            string.bend, string.finger = 0.0, None
        string.sound, string.rings, string.ring_word = sound, False, ring_word

    @staticmethod
    def _hold_bend(string: StringState, before: SoundingNote, sound: SoundingNote) -> None:
        """Keep the bend under a tap and under the pull-off back to the finger that bends; any other note ends it."""
        holds = before.fret if string.finger is None else string.finger
        tapped = sound.begin.stroke is Stroke.TAP and sound.kind == "note" and sound.head is None
        back = sound.begin.stroke is Stroke.PULL and string.finger is not None and sound.fret == string.finger
        if not tapped and not back:
            string.bend, string.finger = 0.0, None
            return
        string.finger = holds if tapped else None
        fret = Fraction(string.bend).limit_denominator(8) + (sound.fret or 0)
        sound.shapes.append(PitchGesture(HELD_BEND, sound.start, sound.end, string.bend, sound.slot, sound.span, fret))

    def shape(self, number: int, marks: tuple[MarkNode, ...], start: int, until: int, slot: int, origin: int) -> None:
        """Shape the sound on a string within one step; several shapes share it evenly. `origin` is their event's offset."""
        string = self._strings[number]
        sound = string.sound
        if sound is None:
            return
        share = (until - start) // len(marks)
        for n, mark in enumerate(marks):
            begins = start + n * share
            if sound.shapes and sound.shapes[-1].technique.curve is Curve.VIBRATO:
                sound.shapes[-1].end = begins  # a vibrato ends where the next shape begins
            ends = until if n == len(marks) - 1 else begins + share
            amount, to_fret = _reached(mark, sound.fret)
            span = Span(origin + mark.span.start, origin + mark.span.end)
            sound.shapes.append(PitchGesture(mark.technique, begins, ends, amount, slot, span, to_fret))
            if mark.technique.curve in UPWARD_BENDS:
                string.bend = amount
            elif mark.technique.curve is Curve.RELEASE:
                string.bend = max(0.0, amount)


def _reached(mark: MarkNode, fret: int | None) -> tuple[float, Fraction | None]:
    """Return the semitones above the fretted pitch where a shape ends, and that pitch as a fret where there is one."""
    base = fret or 0
    if mark.fret is not None:
        whole = mark.fret.denominator == 1  # as nearly all are, whose difference needs no fraction
        return float((mark.fret.numerator if whole else mark.fret) - base), mark.fret
    if mark.by is not None:
        target = base + mark.by
        return float(mark.by), target if target.denominator == 1 else None
    if mark.technique.curve is Curve.RELEASE:
        return 0.0, Fraction(base)
    return mark.technique.amount, None
