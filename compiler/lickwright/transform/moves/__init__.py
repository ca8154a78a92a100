"""Moving a lick into another key, box, octave or tuning: tree → tree.

In: a lick of a book and a `MoveRequest`. Out: the lick written anew, and in words what could not be kept. By *shape* every finger
keeps its place in the hand and the hand goes elsewhere; by *pitch* the notes stay (moved by the key's interval) and the best strings and
frets for them are found. The result has been counted and checked: the same rhythm and connections, by pitch the same pitches, no
errors. A place that is no harder to play than where the lick comes from is preferred; what is harder is said.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lickwright.analysis.difficulty import LEVEL
from lickwright.core.diagnostics import Diagnostic, Severity, has_errors
from lickwright.core.fast_dataclass import record, replace
from lickwright.core.source import Source
from lickwright.notation.canonical import canonical_text
from lickwright.notation.syntax import parse_source
from lickwright.notation.tree import Book, Comment, Field, Lick
from lickwright.settings.fields import BY_NAME
from lickwright.settings.project_rules import ProjectRules
from lickwright.timeline.build import build_timeline
from lickwright.timeline.model import Timeline
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
from lickwright.transform.moves.music_equality import is_same_music
from lickwright.transform.moves.note_positions import NotePositions
from lickwright.transform.moves.rewrite import rewrite_music
from lickwright.transform.moves.target import MoveRequest, MoveTarget, move_targets, moved_fields

__all__ = ["MoveRequest", "MovedLick", "Unmovable", "book_with_licks", "move_lick"]


class Unmovable(ValueError):
    """The lick cannot go there; `str()` says why in a player's words."""


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
        """The warnings about hands; that the declared level no longer fits is no reason to go elsewhere."""
        return [d for d in self.harder if d.code != LEVEL.code]


def move_lick(
    lick: Lick, book: Book, source: Source, request: MoveRequest, project: ProjectRules | None = None
) -> MovedLick:
    """Return the lick where `request` asks for it: in the nearest place that is no harder to play.

    Another octave is taken for that, or to keep hammer-ons and slides where the hand would have to let them go, only where the
    key is another. `project` has the sounds that the lick may name besides those of the table. Raises `Unmovable` where the lick
    has errors, the request makes no sense for it, or no place holds it.
    """
    timeline, found = build_timeline(lick, book, source, project)
    judged = JudgedLick(timeline, found) if timeline is not None else None
    if timeline is None or judged is None or judged.error:
        raise Unmovable("it has errors: fix it first")
    search = _Search(timeline, request.key is not None)
    try:
        for target, places in _candidates(timeline, request, search):
            if search.settles(target, places, _try_placement(lick, book, timeline, judged, target, places, project)):
                break
    except ValueError as e:
        raise Unmovable(str(e)) from None
    if search.best is None:
        raise Unmovable(f"it cannot be played there: {search.refused or 'no place on the neck holds its notes'}")
    return _with_words(search.best)


class _Search:
    """The best placement found so far, and what was the matter with the others."""

    def __init__(self, timeline: Timeline, new_key: bool) -> None:
        self.best: MovedLick | None = None
        self.refused = ""  # why the likeliest placement will not do at all
        self._nearer = ""  # what would be the matter in the nearest octave
        self._timeline, self._new_key = timeline, new_key

    def settles(self, target: MoveTarget, places: NotePositions, moved: MovedLick | str) -> bool:
        """Consider a moved lick, or why it cannot be played so. Return whether it is as good as any can be."""
        if isinstance(moved, str):
            self._refuse(moved)
            return False
        if target.folded:
            moved = replace(moved, said=(f"{target.folded}: {self._nearer or 'the neck ends there'}", *moved.said))
        if not moved.hands and not self._gives_up_more(target, places, moved):
            self.best = moved
            return True
        self._nearer = self._nearer or next((f"otherwise {d.message}" for d in moved.hands), "")
        if self.best is None or (not target.folded and len(moved.hands) < len(self.best.hands)):
            self.best = moved
        return False

    def _refuse(self, why: str) -> None:
        self.refused = self.refused or why
        self._nearer = self._nearer or f"otherwise {why}"

    def _gives_up_more(self, target: MoveTarget, places: NotePositions, moved: MovedLick) -> bool:
        """Return whether a lick ends near the end of the neck, or lets connections go, for which the best so far need not be given up."""
        if self.best is None:
            return False
        high = target.folded and any(describe_high_end(self._timeline, moved.timeline))
        return bool(high or (places.begins and self._new_key))


def _candidates(
    timeline: Timeline, request: MoveRequest, search: _Search
) -> Iterator[tuple[MoveTarget, NotePositions]]:
    """Yield targets with placements, the likeliest first; another octave for the same key only where nothing was found."""
    for target in move_targets(timeline, request):
        if search.best is not None and target.folded and request.key is None:
            return
        for places in _placements(timeline, target, search):
            yield target, places


def _placements(timeline: Timeline, target: MoveTarget, search: _Search) -> Iterator[NotePositions]:
    """Yield ways to place the notes, the likeliest first. A shape that goes along whole keeps every technique.

    After all places in the box, and only where none of them can be played, the shape beside the box will do.
    """
    if target.shape_first:
        shape = place_by_shape(timeline, target)
        if shape is not None:
            yield shape
    if target.by == "pitch":
        yield from placements_in_box(timeline, target)
        if not target.shape_first and target.tuning == timeline.settings.tuning and search.best is None:
            shape = place_by_shape(timeline, target)
            if shape is not None:
                stays = "it keeps its shape" if shape.semitones else "it stays where it is"
                yield replace(shape, said=(*shape.said, f"the hand cannot hold it in that box: {stays}"))


def _with_words(moved: MovedLick) -> MovedLick:
    """Return the moved lick with what is harder about it said too."""
    return replace(moved, said=(*moved.said, *harder_in_words(moved.harder)))


def book_with_licks(book: Book, licks: Sequence[Lick]) -> Book:
    """Return the book with these licks instead of its own.

    A field of its head that every lick says for itself is left out; where they all say the same, the head says it for them.
    """
    head: list[Field | Comment] = []
    done = list(licks)
    for entry in book.head:
        own = _own_fields(entry, done)
        if not isinstance(entry, Field) or not own:
            head.append(entry)
        elif len(texts := {field.text for field in own}) == 1:
            (text,) = texts
            head.append(replace(entry, text=text, raw=text))
            done = [replace(lick, fields=tuple(f for f in lick.fields if f not in own)) for lick in done]
    return replace(book, head=tuple(head), licks=tuple(done))


def _own_fields(entry: Field | Comment, licks: Sequence[Lick]) -> list[Field]:
    """Return what every lick says for itself instead of an entry of the head; nothing where one does not, or where all lines of a name count."""
    if not isinstance(entry, Field) or (entry.name in BY_NAME and BY_NAME[entry.name].repeats):
        return []
    own = [_own(lick, entry.name) for lick in licks]
    return [field for field in own if field is not None] if None not in own else []


def _own(lick: Lick, name: str) -> Field | None:
    return next((f for f in lick.fields if isinstance(f, Field) and f.name == name), None)


def _try_placement(
    lick: Lick,
    book: Book,
    old: Timeline,
    judged: JudgedLick,
    target: MoveTarget,
    places: NotePositions,
    project: ProjectRules | None,
) -> MovedLick | str:
    """Return the lick so placed, or in words why that will not do."""
    music, said = rewrite_music(lick.music, old, places, target.tuning)
    moved = replace(lick, fields=moved_fields(lick, book, old, target, places), music=music)
    text = canonical_text(replace(book, licks=(moved,)))
    again = Source("moved", text)
    new_book, written = parse_source(again)
    if written or not new_book.licks:
        return written[0].message if written else "nothing is left of it"
    timeline, counted = build_timeline(new_book.licks[0], new_book, again, project)
    if timeline is None or has_errors(counted):
        return next((d.message for d in counted if d.severity is Severity.ERROR), "it cannot be counted")
    now = JudgedLick(timeline, counted)
    harder = new_hand_warnings(judged, now)
    wrong = now.error or unplayable_reason(harder)
    if wrong:
        return wrong
    if not is_same_music(old, timeline, places.semitones if target.keeps_pitch else None, set(places.begins)):
        return "a note would end or connect differently"
    moved, idle = drop_idle_meant(moved, judged, now)
    more = (*describe_high_end(old, timeline), *describe_stale_chords(lick, book, old, timeline), *idle)
    return MovedLick(moved, timeline, (*target.said, *places.said, *said, *more), places.semitones, tuple(harder))
