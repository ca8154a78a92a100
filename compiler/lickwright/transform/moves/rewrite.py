"""Writing the music of a moved lick: the same items with other strings and frets.

In: items, the Timeline that they were counted in, and the new places. Out: items, and in words what has no place any more.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from lickwright.core.fast_dataclass import replace
from lickwright.music.tuning import Tuning
from lickwright.notation.techniques import HEADS
from lickwright.notation.tree import Bare, Event, Hold, Item, MarkNode, Note, Part, Rest, Tuplet, Worded
from lickwright.timeline.model import SoundingNote, Timeline
from lickwright.transform.moves.note_positions import NotePositions, stopped_fret


def rewrite_music(
    items: tuple[Item, ...], timeline: Timeline, places: NotePositions, tuning: Tuning
) -> tuple[tuple[Item, ...], tuple[str, ...]]:
    """Return the items for the new places, and what was left out, in words."""
    writer = _Writer(timeline, places, tuning)
    return writer.items(items), tuple(dict.fromkeys(writer.said))


class _Writer:
    """Rewrites items in order, since a string stands for the note that sounds on it last."""

    def __init__(self, timeline: Timeline, places: NotePositions, tuning: Tuning) -> None:
        self.old = timeline.settings.tuning
        self.places = places
        self.tuning = tuning
        self.said: list[str] = []
        self._sounds = {
            sound.span.start: sound for sound in timeline.sounds if sound.pass_no == 0 and sound.kind != "rake"
        }
        self._new_hand = _new_hand(self._sounds.values(), places)
        self._now: dict[int, int] = {}  # old string → new, of what sounds there
        self._last_change = 0  # frets that the note written last has moved by
        self._changes: dict[int, int] = {}  # the same by old string

    def items(self, items: Iterable[Item]) -> tuple[Item, ...]:
        """Return items rewritten one by one; a rake that lost its strings is its note."""
        out: list[Item] = []
        for item in items:
            match item:
                case Event():
                    out.append(self._event(item))
                case Tuplet():
                    out.append(replace(item, items=self.items(item.items)))
                case Worded(word="rake"):
                    out += self._rake(item)
                case Worded(word="trill"):
                    out.append(self._trill(item))
                case Worded():
                    out.append(replace(item, items=self.items(item.items)))
                case _:
                    out.append(item)
        return tuple(out)

    def _event(self, event: Event) -> Event:
        return replace(event, parts=tuple(self._part(part, event.span.start) for part in event.parts))

    def _part(self, part: Part, start: int) -> Part:
        if isinstance(part, Note):
            sound = self._sounds.get(start + part.span.start)
            return part if sound is None else self._note(part, sound)
        if not part.string:
            return self._hold(part, 0) if isinstance(part, Hold) else part
        number = self._number(part.string)
        string = self._now.get(number, number)
        name = self.tuning.written(min(string, self.tuning.strings))
        if isinstance(part, Hold):
            return replace(self._hold(part, number), string=name)
        return replace(part, string=name) if isinstance(part, (Rest, Bare)) else part

    def _number(self, name: str) -> int:
        return int(name[:-1]) if name.endswith(":") else self.old.letters[name]

    def _hold(self, hold: Hold, number: int) -> Hold:
        """Return a hold whose bend targets have moved with the note that it holds."""
        change = self._changes.get(number, self._last_change) if number else self._last_change
        return replace(hold, marks=tuple(_mark(mark, change) for mark in hold.marks)) if hold.marks else hold

    def _note(self, note: Note, sound: SoundingNote) -> Note:
        string, fret = self.places.at.get(sound.index, (sound.string, stopped_fret(sound)))
        begin = self.places.begins.get(sound.index, note.begin)
        name = self.tuning.written(string) if note.string or begin is not note.begin else ""
        self._now[sound.string] = string
        here = stopped_fret(sound)
        if here is None or fret is None:
            return replace(note, string=name, begin=begin)
        change = fret - here
        self._last_change = change
        self._changes[sound.string] = change
        marks = tuple(_mark(mark, change) for mark in note.marks)
        finger = self._finger(note, here, fret)
        moved = replace(note, string=name, begin=begin, fret=fret, marks=marks, finger=finger)
        return moved if note.touch is None or note.head is None else self._harmonic(moved, note.touch + change)

    def _finger(self, note: Note, before: int, fret: int) -> str | None:
        """Return the written finger of a note, if it is still the one that plays it."""
        if not self._new_hand and fret:
            return note.finger
        if note.finger and before:
            why = "the hand is another" if self._new_hand else "their strings are open now"
            self.said.append(f"written fingers are left out: {why}")
        return None

    def _harmonic(self, note: Note, touch: Fraction) -> Note:
        """Return a harmonic at its new fret: a natural one off the open string becomes artificial, and the other way round."""
        natural = note.head is not None and note.head.sign == "<>"
        if natural and note.fret == 0:
            return replace(note, fret=None)
        if natural:
            self.said.append("natural harmonics are artificial harmonics now")
        head = HEADS["n<>"] if note.fret else HEADS["<>"]
        return replace(note, head=head, fret=note.fret or None, touch=touch)

    # --- words ---------------------------------------------------------------------------------------------------

    def _rake(self, word: Worded) -> list[Item]:
        """Return a rake whose strings go along with the note at its end; those that the neck does not have are left out."""
        events = [item for item in word.items if isinstance(item, Event)]
        target = next((event for event in events if isinstance(event.parts[0], Note)), None)
        sound = self._sounds.get(target.span.start + target.parts[0].span.start) if target else None
        if sound is None:
            return [word]
        string = self.places.at.get(sound.index, (sound.string, 0))[0]
        out: list[Item] = []
        strokes = 0
        for item in word.items:
            if isinstance(item, Event) and isinstance(bare := item.parts[0], Bare):
                number = string + self._number(bare.string) - sound.string
                if 1 <= number <= self.tuning.strings:
                    strokes += 1
                    out.append(replace(item, parts=(replace(bare, string=self.tuning.written(number)),)))
                else:
                    self.said.append("a rake is shorter: there are no more strings on that side")
            else:
                out += self.items([item])
        if strokes:
            return [replace(word, items=tuple(out))]
        self.said.append("a rake has no string to come from: its note is picked")
        return out

    def _trill(self, word: Worded) -> Item:
        first, second, *rest = word.items
        out = [*self.items([first])]
        if isinstance(second, Event) and isinstance(other := second.parts[0], Note):
            string = "" if not other.string else self.tuning.written(self._now.get(self._number(other.string), 1))
            moved = replace(other, string=string, fret=(other.fret or 0) + self._last_change)
            out.append(replace(second, parts=(moved,)))
        else:
            out.append(second)
        return replace(word, items=(*out, *self.items(rest)))


def _mark(mark: MarkNode, change: int) -> MarkNode:
    return mark if mark.fret is None else replace(mark, fret=mark.fret + Fraction(change))


def _new_hand(sounds: Iterable[SoundingNote], places: NotePositions) -> bool:
    """Return whether this is more than the same hand some frets on."""
    moved = [(s, at) for s in sounds if (at := places.at.get(s.index)) is not None and not s.dead]
    changes = {(at[0] - s.string, (at[1] or 0) - (stopped_fret(s) or 0)) for s, at in moved}
    return len(changes) > 1 or any(string for string, _ in changes)
