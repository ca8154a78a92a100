"""The values of a judgement by ear: notes as heard, passes, and what holds for the whole recording.

In: nothing of its own. Out: values that the other modules of this package fill and read.
"""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

from lickwright.compare.model import DifferenceKind, Score
from lickwright.core.fast_dataclass import field, mutable_record, record
from lickwright.music.practice import Ladder
from lickwright.music.rhythm import Feel
from lickwright.timeline.model import SoundingNote, Timeline

UNHEARD = "notes that could not be heard out"  # why the ear cannot tell a note that is among other sounds


class NoteVerdict(StrEnum):
    """What the ear says of the pitch of a note."""

    RIGHT = "right"
    WRONG = "wrong"
    MISSING = "missing"
    UNTOLD = "cannot tell"


@mutable_record
class HeardNote:
    """One note of the lick, as heard. Pitches are MIDI as the lick writes them: the guitar's tuning and a transposition are taken off."""

    sound: SoundingNote
    verdict: NoteVerdict
    written: float  # the pitch at which it should begin
    why: str = ""  # why the ear cannot tell
    onset: float | None = None  # seconds in the recording; None where it was not heard to begin
    pitch: float | None = None  # that was heard at its beginning
    late: float | None = None  # seconds; None where there is nothing to compare with
    kinds: set[DifferenceKind] = field(default_factory=set)  # what differs, in the words of a comparison
    bend_wanted: float | None = None  # semitones above the fretted pitch
    bend_reached: float | None = None  # semitones
    bend_settled: float | None = None  # semitones at which a bend that goes too far stays afterwards
    bend_late: float | None = None  # seconds that it comes too late
    bend_picked: float | None = None  # semitones above the fret at which a pre-bend is picked
    release_off: float | None = None  # semitones above where the release should end
    release_late: float | None = None  # seconds that it comes too late
    vibrato_wanted: float | None = None  # semitones, lowest to highest
    vibrato_width: float | None = None  # semitones


class ExtraNote(NamedTuple):
    """A note that the lick has not."""

    at: float  # seconds in the recording
    pitch: float  # MIDI, as the lick would write it
    after: SoundingNote  # the note of the lick that was played last


class HeardPause(NamedTuple):
    """A hesitation, or time that was left out."""

    at: float  # seconds in the recording: when the music goes on
    seconds: float  # longer than written, or shorter
    before: SoundingNote


@record
class JudgedPass:
    """One time through the lick."""

    start: float  # seconds in the recording
    stop: float
    pace: float  # seconds played for each second written
    drift: float  # share by which it is faster at its end than at its beginning; 0.05 is 5 per cent
    notes: tuple[HeardNote, ...]  # in the lick's order
    extras: tuple[ExtraNote, ...]
    pauses: tuple[HeardPause, ...]
    skips: tuple[HeardPause, ...]  # where the music goes on too soon, as after a bar that was left out
    again: tuple[SoundingNote, ...]  # notes at which it was given up and begun again
    ends_at: SoundingNote | None  # the last note before it breaks off; None if it goes on to its end
    score: Score
    slows_from: SoundingNote | None = None  # the note from which on it slows down to its end, as in a ritardando

    @property
    def is_through(self) -> bool:
        """Whether it was played from beginning to end without a pause, a leap or a false start."""
        return not (self.pauses or self.skips or self.again or self.ends_at)

    def sound_before(self, jump: HeardPause) -> SoundingNote | None:
        """Return the last note that was heard before a pause or a leap; None where there is none."""
        heard = [note.sound for note in self.notes if note.onset is not None and note.onset < jump.at - 1e-6]
        return heard[-1] if heard else None

    @property
    def judged(self) -> int:
        """How many notes the ear can tell."""
        return sum(note.verdict is not NoteVerdict.UNTOLD for note in self.notes)

    @property
    def right_pitches(self) -> int:
        """How many notes are there at the right pitch, whatever their time."""
        return sum(note.verdict is NoteVerdict.RIGHT for note in self.notes)


class RefusalKind(StrEnum):
    """Why nothing is judged."""

    SILENT = "silent"  # nothing sounds like a guitar
    NO_NOTE = "no note"  # the lick has none that can be judged by ear
    RATE = "sample rate"  # it is the lick, too high and as much too fast, or too low and too slow
    UNLIKE = "unlike"  # it is another lick, or too little of this one


class Refusal(NamedTuple):
    """Why nothing is judged, as a kind and in words."""

    kind: RefusalKind
    words: str


class TakeContext(NamedTuple):
    """What is known of a take besides its sound."""

    lick: str = ""  # title of the whole lick
    is_part: bool = False  # whether the Timeline that it is judged by has only some bars of the lick
    recording: str = ""  # name of the file; "" for one that is not kept
    day: str = ""  # when it was recorded, as `2026-12-05`; "" where that is not known
    notes: tuple[str, ...] = ()  # what was noticed while it was read or recorded, in words
    ladder: Ladder = Ladder()  # on which it is practiced


NO_CONTEXT = TakeContext()


@record
class Judgement:
    """What was heard of a lick in a recording."""

    timeline: Timeline
    seconds: float  # length of the recording
    refusal: Refusal | None  # None where something is judged
    tuning: float  # semitones that the guitar is higher than A 440
    shift: int  # semitones that all is played higher than written
    passes: tuple[JudgedPass, ...]
    best: int  # index of the best pass
    passed_over: tuple[str, ...]  # what is in the lick that is never judged, in words
    feel: Feel  # as played; the written one where nothing else is told

    @property
    def differs(self) -> bool:
        """Whether it was not recognized, or has something to practice.

        That is another feel than written, a note of its best pass that differs or is too many, or a pause or break in it.
        """
        if self.refusal is not None:
            return True
        one = self.passes[self.best]
        return self.in_other_feel or bool(one.extras) or not one.is_through or any(n.kinds for n in one.notes)

    @property
    def in_other_feel(self) -> bool:
        """Whether it is swung where it is written straight, or straight where it is written swung."""
        return self.feel.is_swung != self.timeline.settings.feel.is_swung
