"""Moving a lick: tree → tree, into another key, box, octave or tuning.

In: a lick of a book and where it should go. Out: the lick written anew, and in words what could not be kept. By *shape* every finger
keeps its place in the hand and the hand goes elsewhere; by *pitch* the notes stay (moved by the key's interval) and the best strings and frets for
them are found. Whatever comes out has been counted and checked: same rhythm, same connections, same pitches by pitch, no errors. A place
that is no harder to play than where the lick comes from is preferred; what is harder is said.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from lickwright.analysis.difficulty import LEVEL
from lickwright.core.diagnostics import Diagnostic, Severity, has_errors
from lickwright.core.fast_dataclass import record, replace
from lickwright.core.source import Source
from lickwright.notation.canonical import canonical
from lickwright.notation.syntax import parse_source
from lickwright.notation.tree import Book, Comment, Field, Lick
from lickwright.settings.fields import BY_NAME
from lickwright.timeline.build import build_timeline
from lickwright.timeline.model import SoundingNote, Timeline
from lickwright.transform.moves.by_box import placements_in_box
from lickwright.transform.moves.by_shape import place_by_shape
from lickwright.transform.moves.consequences import (
    JudgedLick,
    describe_high_end,
    describe_stale_chords,
    drop_idle_meant,
    harder_in_words,
    new_hand_warnings,
    unplayable_reason,
)
from lickwright.transform.moves.note_positions import NotePositions
from lickwright.transform.moves.rewrite import rewrite_music
from lickwright.transform.moves.target import MoveTarget, move_targets, moved_fields

__all__ = ["MoveRequest", "MovedLick", "Unmovable", "book_with_licks", "move_lick"]


class Unmovable(ValueError):
    """The lick cannot go there; says why in a player's words."""


@record
class MoveRequest:
    """Where a lick should go. Fields as in the notation; None keeps what the lick has."""

    key: str | None = None
    box: str | None = None
    octave: int = 0  # 1 up, -1 down
    tuning: str | None = None
    by: str = "pitch"  # or "shape"


@record
class MovedLick:
    """A lick in its new place."""

    lick: Lick
    timeline: Timeline
    said: tuple[str, ...]  # what was not kept and what replaced it, in words; empty where all was
    semitones: int  # how far its pitches went
    harder: tuple[Diagnostic, ...] = ()  # warnings about hands, and its level, that it has and the lick had not

    @property
    def hands(self) -> list[Diagnostic]:
        """What is harder to play; that the declared level no longer fits is no reason to go elsewhere."""
        return [d for d in self.harder if d.code != LEVEL.code]


def move_lick(lick: Lick, book: Book, source: Source, wish: MoveRequest) -> MovedLick:
    """Return the lick where `wish` wants it.

    The nearest place that is no harder to play; another octave for that, or to keep hammer-ons and slides where the
    hand would have to let them go, only where the key is another. Raises `Unmovable` where it cannot be had.
    """
    timeline, found = build_timeline(lick, book, source)
    old = JudgedLick(timeline, found) if timeline is not None else None
    if timeline is None or old is None or old.error:
        raise Unmovable("it has errors: fix it first")
    best: MovedLick | None = None
    refused = ""  # why the likeliest place will not do at all
    nearer = ""  # what would be the matter in the nearest octave
    try:
        for aim in move_targets(timeline, wish.key, wish.box, wish.octave, wish.tuning, wish.by):
            if best is not None and aim.folded and wish.key is None:
                break
            for places in _ways(timeline, aim, lambda: best is None):  # noqa: B023 (asked late on purpose)
                moved = _tried(lick, book, timeline, old, aim, places)
                if isinstance(moved, str):
                    refused = refused or moved
                    nearer = nearer or f"otherwise {moved}"
                    continue
                if aim.folded:
                    moved = replace(moved, said=(f"{aim.folded}: {nearer or 'the neck ends there'}", *moved.said))
                high = aim.folded and best is not None and any(describe_high_end(timeline, moved.timeline))
                parted = places.begins and best is not None and wish.key is not None
                if not moved.hands and not high and not parted:
                    return _with_words(moved)
                nearer = nearer or next((f"otherwise {d.message}" for d in moved.hands), "")
                if best is None or (not aim.folded and len(moved.hands) < len(best.hands)):
                    best = moved
    except ValueError as e:
        raise Unmovable(str(e)) from None
    if best is None:
        raise Unmovable(f"it cannot be played there: {refused or 'no place on the neck holds its notes'}")
    return _with_words(best)


def _with_words(moved: MovedLick) -> MovedLick:
    """Return the moved lick with what is harder about it said too."""
    return replace(moved, said=(*moved.said, *harder_in_words(moved.harder)))


def book_with_licks(book: Book, licks: Sequence[Lick]) -> Book:
    """The book with these licks; a field of its head that every lick now says for itself stands there no longer.

    Where they all say the same, the head says it for them.
    """
    head: list[Field | Comment] = []
    done = list(licks)
    for entry in book.head:
        own = [_own(lick, entry.name) for lick in done] if isinstance(entry, Field) else []
        texts = {field.text for field in own if field is not None}
        if (
            not own
            or None in own
            or not isinstance(entry, Field)
            or (entry.name in BY_NAME and BY_NAME[entry.name].repeats)
        ):
            head.append(entry)
        elif len(texts) == 1:
            text = texts.pop()
            head.append(replace(entry, text=text, raw=text))
            done = [replace(lick, fields=tuple(f for f in lick.fields if f not in own)) for lick in done]
    return replace(book, head=tuple(head), licks=tuple(done))


def _own(lick: Lick, name: str) -> Field | None:
    return next((f for f in lick.fields if isinstance(f, Field) and f.name == name), None)


def _ways(timeline: Timeline, aim: MoveTarget, none_will_do: Callable[[], bool]) -> Iterator[NotePositions]:
    """Ways to place the notes, the likeliest first. A shape that goes along whole keeps every technique.

    `none_will_do` is asked after all places in the box were tried: only where none of them can be played, the shape
    beside the box will do.
    """
    if aim.shape_first:
        shape = place_by_shape(timeline, aim)
        if shape is not None:
            yield shape
    if aim.by == "pitch":
        yield from placements_in_box(timeline, aim)
        if not aim.shape_first and aim.tuning == timeline.settings.tuning and none_will_do():
            shape = place_by_shape(timeline, aim)
            if shape is not None:  # better beside the box than not at all
                stays = "it keeps its shape" if shape.semitones else "it stays where it is"
                yield replace(shape, said=(*shape.said, f"the hand cannot hold it in that box: {stays}"))


def _tried(
    lick: Lick, book: Book, old: Timeline, judged: JudgedLick, aim: MoveTarget, places: NotePositions
) -> MovedLick | str:
    """The lick so placed, or why that will not do."""
    music, said = rewrite_music(lick.music, old, places, aim.tuning)
    moved = replace(lick, fields=moved_fields(lick, book, old, aim, places), music=music)
    text = canonical(replace(book, licks=(moved,)))
    again = Source("moved", text)
    new_book, written = parse_source(again)
    if written or not new_book.licks:
        return written[0].message if written else "nothing is left of it"
    timeline, counted = build_timeline(new_book.licks[0], new_book, again)
    if timeline is None or has_errors(counted):
        return next((d.message for d in counted if d.severity is Severity.ERROR), "it cannot be counted")
    now = JudgedLick(timeline, counted)
    harder = new_hand_warnings(judged, now)
    wrong = now.error or unplayable_reason(harder)
    if wrong:
        return wrong
    if not _same(old, timeline, places.semitones if aim.keeps_pitch else None, set(places.begins)):
        return "a note would end or connect differently"
    moved, idle = drop_idle_meant(moved, judged, now)
    more = (*describe_high_end(old, timeline), *describe_stale_chords(lick, book, old, timeline), *idle)
    return MovedLick(moved, timeline, (*aim.said, *places.said, *said, *more), places.semitones, tuple(harder))


def _same(old: Timeline, new: Timeline, semitones: int | None, parted: set[int]) -> bool:
    """Whether the same sounds come at the same times, joined alike; with `semitones`, each so much higher."""
    ours, theirs = _heard(old), _heard(new)
    if len(ours) != len(theirs):
        return False
    again = {old.sounds[n].span for n in parted}  # played once more by a repeat
    parted = {sound.index for sound in ours if sound.span in again}
    places = {sound.index: n for n, sound in enumerate(ours)}
    others = {sound.index: n for n, sound in enumerate(theirs)}
    for a, b in zip(ours, theirs, strict=True):
        if old.fraction(a.start) != new.fraction(b.start) or old.fraction(a.end) != new.fraction(b.end):
            return False
        if a.index in parted:
            if b.source is not None:
                return False
        elif (places.get(a.source, -1) if a.source is not None else None) != (
            others.get(b.source, -1) if b.source is not None else None
        ):
            return False
        if semitones is not None and not a.dead and abs(_sounding(a, old) + semitones - _sounding(b, new)) > 0.01:
            return False
    return True


def _heard(timeline: Timeline) -> list[SoundingNote]:
    """The notes in an order that does not depend on their strings."""
    sounds = [sound for sound in timeline.sounds if sound.kind != "rake"]
    return sorted(sounds, key=lambda s: (timeline.fraction(s.start), -s.lead, s.dead, s.pitch, -s.string))


def _sounding(sound: SoundingNote, timeline: Timeline) -> float:
    return sound.pitch + timeline.settings.tuning.shift + timeline.settings.capo
