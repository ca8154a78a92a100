"""Slots → sounds: what is played, on which string, from when to when, and what connects to what.

In: the written bars of a lick. Out: `SoundingNote`s as played, repeats included, with tempo changes and fermatas.
Whether a hand can play it is judged by the checks; what has no meaning at all is reported here, once for each written
place.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.core.source import Span
from lickwright.music.harmonic import harmonic_interval
from lickwright.music.rhythm import parse_tempo
from lickwright.notation.techniques import EVENT_WORDS, PICKED, Damping, Technique, TechniqueKind
from lickwright.notation.tree import Bare, Event, Hold, MarkNode, Note, Part, Rest, Unknown
from lickwright.settings.fields import VALUE, Settings
from lickwright.timeline import playing_findings as findings
from lickwright.timeline.model import Bar, Direction, Pass, SoundingNote, TempoAt
from lickwright.timeline.playing_findings import PlayingFinding
from lickwright.timeline.rules import Report
from lickwright.timeline.string_states import StringStates
from lickwright.timeline.written_music import WrittenMusic

_JOIN = TechniqueKind.JOIN  # bound here, since it is read for every note and enumeration members are slow to look up
_PINCHED = 24.0  # semitones that a pinch harmonic sounds above its fret: the fourth partial, an estimate


@mutable_record
class PlayedMusic:
    """The music as played."""

    passes: list[Pass] = field(default_factory=list)
    sounds: list[SoundingNote] = field(default_factory=list)
    tempos: list[TempoAt] = field(default_factory=list)
    fermatas: list[tuple[int, int]] = field(default_factory=list)
    end: int = 0


class NoteBuilder:
    """Plays the slots in order and collects what sounds."""

    def __init__(self, written: WrittenMusic, settings: Settings, report: Report) -> None:
        self.written = written
        self.settings = settings
        self.tuning = settings.tuning
        self._report = report
        self.out = PlayedMusic()
        self.out.tempos.append(TempoAt(0, settings.tempo.quarters_per_minute(settings.meter)))
        self._strings = StringStates(settings.tuning)
        self._last: list[int] = []  # the strings of the note or group written last
        self._started = False  # something has happened: a hold has a meaning
        self._dynamic = "mf"
        self._lenient = True  # in or after a bar that could not be read whole: connections are not judged
        self._visits = [0] * len(written.slots)
        self._directions: dict[int, list[Direction]] = {}
        for direction in written.directions:
            self._directions.setdefault(direction.slot, []).append(direction)
        self._bar = self._slot = 0  # what is being played
        self._over: tuple[int, ...] = ()  # the words over it
        self._now = self._until = 0  # when it begins and ends
        self._beat_from = self._beat = 0  # the slots from one to before the other are grace notes of the latter
        self._origin = 0  # where the event being played stands in the text

    def play(self, order: Iterable[int]) -> PlayedMusic:
        """Return the music of the bars with these indices, one after another."""
        now, counts, before_sure = 0, [0] * len(self.written.bars), True
        for index in order:
            bar = self.written.bars[index]
            self._lenient = not (bar.sure and before_sure)
            before_sure = bar.sure
            self.out.passes.append(Pass(index, now, counts[index]))
            counts[index] += 1
            self._play_bar(index, bar, now)
            now += bar.length
        self._strings.stop_all(now)
        self.out.end = now
        return self.out

    def _play_bar(self, index: int, bar: Bar, start: int) -> None:
        self._bar = index
        slots, words = self.written.slots, self.written.slot_words
        for n in range(bar.first, bar.last):
            _, at, length, event, _ = slots[n]
            self._slot, self._over, self._now = n, words[n], start + at
            self._until = self._now + length
            if n in self._directions:
                self._hear(self._directions[n], n)
            self._origin = event.span.start
            if isinstance(event, Unknown):
                self._unknown()
            else:
                self._event(event)
            self._visits[n] += 1

    def _say(self, finding: PlayingFinding) -> None:
        """Report a finding once a place: the first time that it is played."""
        if not self._visits[self._slot]:
            self._report(*finding)

    def _at(self, node: Part | MarkNode) -> Span:
        """Return where a part or mark of the event being played stands."""
        start, end = node.span
        return tuple.__new__(Span, (self._origin + start, self._origin + end))  # Span(…) takes twice as long

    # --- directions -------------------------------------------------------------------------------------------------

    def _hear(self, directions: list[Direction], n: int) -> None:
        for direction in directions:
            if direction.kind == "dynamic":
                self._dynamic = direction.text
            elif direction.kind == "tempo":
                self._tempo(direction)
            elif direction.kind == "fermata":
                self.out.fermatas.append((self._now, self._now + self.written.held_length(n)))

    def _tempo(self, direction: Direction) -> None:
        try:
            tempo = parse_tempo(direction.text)
        except ValueError as e:
            self._say((VALUE, direction.span, str(e), "`@tempo=60` changes the tempo from here on"))
            return
        self.out.tempos.append(TempoAt(self._now, tempo.quarters_per_minute(self.settings.meter)))

    # --- events --------------------------------------------------------------------------------------------------

    def _unknown(self) -> None:
        """Stop everything where something could not be read; what follows is not judged."""
        self._lenient = self._started = True
        self._last = []
        self._strings.stop_all(self._now)

    def _event(self, event: Event) -> None:
        parts = event.parts
        first = parts[0]
        if isinstance(first, Hold) and not first.string:
            self._hold(first)
            return
        if isinstance(first, Rest) and not first.string:
            self._strings.rest(self._over, self._now)
            self._started = True
            self._lenient = not self.written.bars[self._bar].sure  # everything before has ended
            return
        if len(parts) == 1 and isinstance(first, Note):
            self._one_note(first, parts)
        else:
            self._parts(parts)
        self._started = True

    def _one_note(self, note: Note, parts: tuple[Part, ...]) -> None:
        """Play an event of one note: `_parts` for the commonest case, quicker."""
        number = self._number(note)
        if note.begin.kind is not _JOIN:
            self._strings.end_others((number,), self._over, self._now)
        if self._over:
            self._roll(parts)
        if number:
            self._note(number, note, None)
            self._last = [number]

    def _hold(self, hold: Hold) -> None:
        if not self._started and not self._lenient:
            self._say(findings.nothing_to_hold(self._at(hold)))
        self._started = True
        if hold.marks:
            group = [n for n in self._last if self._strings[n].sound is not None]
            bent = [n for n in group if self._strings[n].bent]
            self._shape_all(bent or group, hold)

    def _shape_all(self, numbers: list[int], hold: Hold) -> None:
        if not numbers and not self._lenient:
            first = hold.marks[0]
            self._say(findings.nothing_to_shape(self._at(first), first.technique.sign))
        for n in numbers:
            self._shape(n, hold.marks)

    def _parts(self, parts: tuple[Part, ...]) -> None:
        numbers = [self._number(part) for part in parts]
        if any(map(_is_struck, parts)) or all(isinstance(part, Hold) for part in parts):
            self._strings.end_others(numbers, self._over, self._now)
        rolled = self._roll(parts)
        last: list[int] = []
        for number, part in sorted(zip(numbers, parts, strict=True), key=_thickest_first):
            if not number:
                continue
            if isinstance(part, Note):
                self._note(number, part, len(last) if rolled else None)
                last.append(number)
            else:
                self._other_part(number, part)
        if last:
            self._last = last

    def _other_part(self, number: int, part: Hold | Rest | Bare) -> None:
        match part:
            case Hold():
                self._hold_one(number, part)
            case Rest():
                self._strings.stop(number, self._now)
            case Bare():
                self._bare(number, part)

    def _hold_one(self, number: int, hold: Hold) -> None:
        if self._strings[number].sound is None:
            if not self._lenient:
                self._say(findings.silent_string_held(self._at(hold), hold.string))
        elif hold.marks:
            self._shape(number, hold.marks)

    def _roll(self, parts: tuple[Part, ...]) -> bool:
        word = self.written.word_over(self._over, "roll")
        if word is None:
            return False
        if len(parts) < 2 and isinstance(parts[0], Note):
            self._say(findings.roll_of_one(self._at(parts[0])))
        return len(parts) > 1

    # --- strings -------------------------------------------------------------------------------------------------

    def _number(self, part: Part) -> int:
        """Return the number of a part's string; 0 where it cannot be told, which has been reported."""
        if part.string:
            return self._strings.number(part.string) or self._unnamed(part.string, self._at(part))
        if len(self._last) == 1:
            return self._last[0]
        if isinstance(part, Note) and (not self._lenient or (self._last and self.written.bars[self._bar].sure)):
            if self._last:
                self._say(findings.ambiguous_string(self._at(part), part, self._last, self.tuning))
            else:
                self._say(findings.nothing_before(self._at(part), part))
        self._unknown()
        return 0

    def _unnamed(self, name: str, span: Span) -> int:
        """Report a name that no string has, and return 0."""
        if "tuning" not in self.settings.unread:
            self._say(findings.no_such_string(span, name, self.tuning, self._strings.usual(name)))
        self._unknown()
        return 0

    # --- notes ---------------------------------------------------------------------------------------------------

    def _bare(self, number: int, part: Bare) -> None:
        if self.written.word_over(self._over, "scrape") is not None:
            self._begin(number, PICKED, None, None, None, self._at(part), "scrape")
        elif all(word.technique or word.word in EVENT_WORDS for word in (self.written.words[n] for n in self._over)):
            self._say(findings.bare_string(self._at(part), part.string))

    def _note(self, number: int, note: Note, roll: int | None) -> None:
        source = None
        if note.begin.kind is _JOIN:
            source = self._source(number, note)
            if source is None and not note.string:
                self._unknown()  # its string cannot be told
                return
        written = self.written
        if written.rakes and self._slot in written.rakes:
            self._rake(written.rakes[self._slot])
        grace = self._until == self._now and self.written.word_over(self._over, "grace") is not None
        sound = self._begin(
            number, note.begin, note.head, note.fret, note.touch, self._at(note), "grace" if grace else "note"
        )
        sound.source, sound.roll, sound.finger, sound.pluck = source, roll, note.finger, note.pluck
        if grace:
            sound.lead = self._grace_lead()
        if written.trills and self._slot in written.trills:
            sound.trill = written.trills[self._slot].fret
        if note.marks:
            self._note_marks(number, sound, note.marks)

    def _source(self, number: int, note: Note) -> int | None:
        sounding = self._strings[number].sound
        if sounding is not None:
            return sounding.index
        if not self._lenient:
            self._say(findings.nothing_to_connect(self._at(note), note, self.tuning.written(number)))
        return None

    def _rake(self, strokes: tuple[tuple[str, Span], ...]) -> None:
        for n, (name, span) in enumerate(strokes):
            number = self._strings.number(name) or self._unnamed(name, span)
            if number:
                sound = self._begin(number, PICKED, None, None, None, span, "rake")
                sound.lead = len(strokes) - n
                self._strings.stop(number, self._now)

    def _grace_lead(self) -> int:
        """Return how many grace notes there are from here to the beat."""
        if not self._beat_from <= self._slot < self._beat:
            n, slots = self._slot, self.written.slots
            while n < len(slots) and not slots[n].length:
                n += 1
            self._beat_from, self._beat = self._slot, n
        return self._beat - self._slot

    def _begin(
        self,
        number: int,
        begin: Technique,
        head: Technique | None,
        fret: int | None,
        touch: Fraction | None,
        span: Span,
        kind: str,
    ) -> SoundingNote:
        """Begin a sound now and return it."""
        pitch = float(self.tuning.nominal[number - 1] + (fret or 0))
        if touch is not None:
            pitch += harmonic_interval(float(touch) - (fret or 0)) or 12.0
        elif head is not None and head.sign == "*":
            pitch += _PINCHED
        marks: tuple[Technique, ...] = ()
        if self._over:
            words = self.written.words
            marks = tuple(t for index in self._over if (t := words[index].technique) is not None)
        sounds = self.out.sounds
        sound = SoundingNote(
            len(sounds), self._now, self._now if kind in ("grace", "rake") else self._until, number, fret, touch, pitch, begin, head, marks,
            [], None, self._slot, self._bar, self._visits[self._slot], kind, dynamic=self._dynamic, span=span,
        )  # fmt: skip
        sounds.append(sound)
        self._strings.begin(sound, self._ring_word() if marks else None)
        return sound

    def _ring_word(self) -> int | None:
        words = self.written.words
        return next((i for i in self._over if (t := words[i].technique) and t.damping is Damping.RING), None)

    # --- marks and shapes ----------------------------------------------------------------------------------------

    def _note_marks(self, number: int, sound: SoundingNote, marks: tuple[MarkNode, ...]) -> None:
        shapes = tuple(mark for mark in marks if mark.technique.kind is TechniqueKind.SHAPE)
        plain = tuple(mark.technique for mark in marks if mark.technique.kind is not TechniqueKind.SHAPE)
        if plain:
            sound.marks = plain + sound.marks
            self._strings[number].rings = any(technique.damping is Damping.RING for technique in plain)
        if shapes:
            self._shape(number, shapes)

    def _shape(self, number: int, marks: tuple[MarkNode, ...]) -> None:
        self._strings.shape(number, marks, self._now, self._until, self._slot, self._origin)


def _is_struck(part: Part) -> bool:
    return isinstance(part, Bare) or (isinstance(part, Note) and part.begin.kind is not _JOIN)


def _thickest_first(pair: tuple[int, Part]) -> int:
    return -pair[0]
