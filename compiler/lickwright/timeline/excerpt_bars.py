"""The written bars of a part of a lick, without those around it.

In: a Timeline whose sounds and passes are those of a part, and whose written bars are those of the whole lick. Out: the same with only the written bars
that the part plays. They keep their numbers. A repeat, an ending or a jump that the part does not play is left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from lickwright.core.fast_dataclass import replace
from lickwright.music.chord import ChordAt
from lickwright.notation.tree import Event, Hold, Rest
from lickwright.timeline.bar_count import is_silent
from lickwright.timeline.model import Bar, Direction, Pass, Slot, SoundingNote, Timeline, TupletSpan, WordSpan


def drop_other_bars(part: Timeline) -> Timeline:
    """Return the part with the written bars from its first to its last."""
    played = sorted({turn.bar for turn in part.passes})
    return _Excerpt(part, played[0], played[-1]).timeline()


class _Excerpt:
    """Written bars from one to another, and the new numbers of bars and slots."""

    def __init__(self, part: Timeline, first: int, last: int) -> None:
        self._part, self._first, self._last = part, first, last
        bars = part.bars
        opening = bars[first]
        following = next((bar.first for bar in bars[first : last + 1] if not bar.same), opening.first)
        kept = list(range(opening.first, opening.last)) if opening.same else []  # the bar that a first `%` repeats
        kept += range(following, max((bar.last for bar in bars[first : last + 1] if not bar.same), default=following))
        self._slots = {slot: n for n, slot in enumerate(kept)}

    def timeline(self) -> Timeline:
        """Return the part as a Timeline."""
        part = self._part
        return replace(
            part,
            settings=replace(
                part.settings,
                pickup=part.settings.pickup if part.bars[self._first].number == 0 else None,
                chords=self._chords(),
            ),
            bars=tuple(self._bars()),
            slots=tuple(self._written()),
            words=tuple(self._words()),
            tuplets=tuple(self._tuplets()),
            directions=tuple(self._directions()),
            passes=tuple(Pass(turn.bar - self._first, turn.start, turn.number) for turn in part.passes),
            sounds=tuple(self._sound(sound) for sound in part.sounds),
        )

    def _bars(self) -> Iterator[Bar]:
        """Yield the bars; a `%` at their start is written out."""
        every = self._part.bars
        straight = [turn.bar for turn in self._part.passes] == list(range(self._first, self._last + 1))
        for index in range(self._first, self._last + 1):
            bar = every[index]
            first = self._slots[bar.first]
            bar = bar._replace(
                start=bar.start - every[self._first].start,
                first=first,
                last=first + bar.last - bar.first,
                same=bar.same and index > self._first,
            )
            if straight:
                bar = bar._replace(repeat_start=False, repeat_end=0, ending=0, marks=())
            yield bar

    def _written(self) -> Iterator[Slot]:
        """Yield the slots; holds of what sounded before the part are rests."""
        every, silent = self._part.slots, True
        for old in self._slots:
            slot = every[old]
            before, silent = silent, silent and is_silent(slot.event, True)
            bar = slot.bar - self._first
            if bar < 0:  # the bar that a `%` repeats stands before the part
                bar = 0
            event = slot.event
            if before and silent and isinstance(event, Event) and any(isinstance(part, Hold) for part in event.parts):
                event = replace(event, parts=(Rest(),))
            yield slot._replace(bar=bar, event=event)

    def _inside(self, first: int, last: int) -> tuple[int, int] | None:
        """Return the new numbers of the first and last slot of a stretch that are in the part; None where none is."""
        inside = [self._slots[n] for n in range(first, last + 1) if n in self._slots]
        return (min(inside), max(inside)) if inside else None

    def _words(self) -> Iterator[WordSpan]:
        for word in self._part.words:
            inside = self._inside(word.first, word.last)
            if inside is not None:
                yield word._replace(first=inside[0], last=inside[1])

    def _tuplets(self) -> Iterator[TupletSpan]:
        for tuplet in self._part.tuplets:
            inside = self._inside(tuplet.first, tuplet.last)
            if inside is not None:
                yield replace(tuplet, first=inside[0], last=inside[1])

    def _directions(self) -> Iterator[Direction]:
        """Yield what is said in the part, and the loudness in which it begins, where one is written before it."""
        begin = min(self._slots, default=0)
        louder = [one for one in self._part.directions if one.kind == "dynamic" and one.slot <= begin]
        if louder and louder[-1].slot not in self._slots:
            yield louder[-1]._replace(slot=0)
        for direction in self._part.directions:
            if direction.slot in self._slots:
                yield direction._replace(slot=self._slots[direction.slot])

    def _chords(self) -> tuple[tuple[ChordAt, ...], ...]:
        """Return the chords of the bars; the first begins with the one that is in force there."""
        written, offset = self._part.settings.chords, 1 if self._part.bars[0].number == 0 else 0
        first = max(0, self._first - offset)
        chords = list(written[first : self._last + 1 - offset])
        before = [chord for bar in written[:first] for chord in bar][-1:]
        if before and not (chords and chords[0] and chords[0][0].at == 0):
            chords[:1] = [(before[0]._replace(at=Fraction(0)), *(chords[0] if chords else ()))]
        return tuple(chords)

    def _sound(self, sound: SoundingNote) -> SoundingNote:
        shapes = [replace(shape, slot=self._slots[shape.slot]) for shape in sound.shapes if shape.slot in self._slots]
        return replace(sound, slot=self._slots[sound.slot], bar=sound.bar - self._first, shapes=shapes)
