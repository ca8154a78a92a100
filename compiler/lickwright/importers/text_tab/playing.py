"""How long each note lasts, and which notes go on from one before.

In: the timed bars of a lick. Out: `DraftGroup`s by bar. The rule is the one of the reference page: a note lasts until the next picked note
on any string, or a rest; one that is
connected to it ends only its own string; "let ring", "ring", "hold", a fret in parentheses and "stop" say otherwise.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.importers.draft import DraftBar, DraftGroup, DraftNote, DraftShape, GroupKind
from lickwright.importers.text_tab.legend import Legend
from lickwright.importers.text_tab.playing_order import played_order
from lickwright.importers.text_tab.rhythm import TimedBar, TimedColumn
from lickwright.importers.text_tab.rules import NOT_JOINED
from lickwright.importers.text_tab.scan_state import Report
from lickwright.importers.text_tab.scanned import ScannedNote, ScannedShape
from lickwright.notation.techniques import ENTRIES, HEADS, JOINS, MARKS, PICKED, SHAPES, WORDS, Technique

_BENDS = ("^", "^^", "r")
_USUAL_STEP = Fraction(1, 8)


@mutable_record
class ColumnSpans:
    """What lasts over one column, by the numbers of the spans."""

    rings: set[int] = field(default_factory=set)
    holds: set[int] = field(default_factory=set)
    stops: set[int] = field(default_factory=set)  # strings
    kind: GroupKind = GroupKind.NOTE
    roll: bool = False


@mutable_record
class _Active:
    """A note while it sounds."""

    note: ScannedNote
    start: Fraction
    at: Fraction
    lead: bool
    begin: Technique
    step: Fraction
    rings: bool = False
    spans: set[int] = field(default_factory=set)
    holds: set[int] = field(default_factory=set)
    end: Fraction | None = None
    shapes: list[tuple[ScannedShape, Fraction, Fraction]] = field(
        default_factory=list
    )  # with where in the note, and the step's length


@mutable_record
class PlayedColumn:
    """One column with the notes that begin in it."""

    at: Fraction
    kind: GroupKind
    roll: bool
    notes: list[_Active]


class Player:
    """Plays the bars, in the order in which they are played."""

    def __init__(self, legend: Legend, ours: bool, report: Report) -> None:
        self._legend, self._ours, self._report = legend, ours, report
        self._sounding: dict[int, _Active] = {}
        self._latest: dict[int, _Active] = {}
        self._by_note: dict[int, _Active] = {}
        self._now = Fraction(0)
        self._columns: list[PlayedColumn] = []  # of the bar that is played

    def play(
        self, bars: Sequence[DraftBar], timed: Sequence[TimedBar | None], spans: dict[int, ColumnSpans]
    ) -> list[tuple[DraftGroup, ...]]:
        """Return the groups of each written bar; `timed` has None for one that repeats the bar before it.

        `spans` are those of the columns, by the identity of their instants. Each bar is written down as it is played the first time; what follows it the
        next time only says what goes on into a second ending.
        """
        written: dict[int, list[PlayedColumn]] = {}
        for index in played_order(bars):
            source = index
            while timed[source] is None and source > 0:
                source -= 1
            found = self._bar(timed[source], bars[index].length or Fraction(1), spans)
            written.setdefault(index, found if source == index else [])
        for string in list(self._sounding):
            self._end(string, self._now)
        return [tuple(_group(column) for column in written.get(n, [])) for n in range(len(bars))]

    def _bar(self, timed: TimedBar | None, length: Fraction, spans: dict[int, ColumnSpans]) -> list[PlayedColumn]:
        """Play one bar and return its columns."""
        self._columns = []
        columns = timed.columns if timed is not None else []
        if timed is None or not columns or columns[0].at > 0:
            self._begin_silent()
        for k, column in enumerate(columns):
            following = next((c.at for c in columns[k + 1 :] if c.at > column.at), length)
            said = [at for at in timed.times.values() if column.at < at < following] if timed is not None else []
            self._column(column, spans.get(id(column.instant), ColumnSpans()), min([following, *said]) - column.at)
        self._now += length
        return self._columns

    # --- one column --------------------------------------------------------------------------------------------------

    def _begin_silent(self) -> None:
        """End what no sign lets go on over the bar line, where a bar begins with nothing."""
        for string, active in list(self._sounding.items()):
            if not (active.rings or active.spans or active.holds):
                self._end(string, self._now)

    def _end(self, string: int, now: Fraction) -> None:
        active = self._sounding.pop(string)
        active.end = active.start if active.lead else now
        self._latest[string] = active

    def _column(self, column: TimedColumn, said: ColumnSpans, step: Fraction) -> None:
        """Play one column: a rest, what is struck, what ends for it, what is shaped."""
        now = self._now + column.at
        instant = column.instant
        onsets = [note for note in instant.notes if not self._goes_on(note)]
        if instant.rest:
            self._end_where(now, lambda active: active.rings or not active.spans & said.rings)
        begins = {note.string: self._begin(note, now) for note in onsets}
        if any(picked for _, picked in begins.values()):
            marked = {note.string for note in instant.notes} | {owner.string for owner, _ in instant.shapes}
            self._end_where(now, lambda active: active.note.string not in marked and not _kept(active, said))
        for string in said.stops & (self._sounding.keys() - begins.keys()):
            self._end(string, now)
        struck = [self._strike(note, begins[note.string][0], column, now, said, step) for note in onsets]
        for owner, shape in instant.shapes:
            self._shape(owner, shape, now, step, said)
        if struck:
            self._columns.append(PlayedColumn(column.at, _kind(column, said), said.roll, struck))

    def _end_where(self, now: Fraction, ends: Callable[[_Active], object]) -> None:
        """End the notes of which `ends` is true."""
        for string, active in list(self._sounding.items()):
            if ends(active):
                self._end(string, now)

    def _goes_on(self, note: ScannedNote) -> bool:
        """Return True for a note in parentheses that shows one that sounds; one that shows nothing begins."""
        return note.held and note.string in self._sounding

    def _begin(self, note: ScannedNote, now: Fraction) -> tuple[Technique, bool]:
        """Return how a note begins, and whether that counts as picked: not connected to a note that sounds."""
        sign = note.begin
        if not sign:
            return PICKED, True
        sounding = self._sounding.get(note.string)
        if self._joins(note, sounding is not None):
            if sounding is None and note.string in self._latest and (note.touching or sign in ("h", "p")):
                sounding = self._reopen(note.string)
            if sounding is not None:
                return JOINS[sign], sign in ("//", "\\\\") and not self._ours
        if sign in ENTRIES:
            return ENTRIES[sign], True
        self._report(
            NOT_JOINED, f"`{sign}{_place(note)}` has nothing to go on from", "write the note before it", note.span, sign
        )
        note.sure = False
        return PICKED, True

    def _joins(self, note: ScannedNote, sounding: bool) -> bool:
        """Return True if a connection is one to the note before; a slide from nowhere and a hammer-on from nowhere are none."""
        if self._ours:
            meant = self._legend.meanings.get(note.begin, frozenset())
            nowhere = {"slide in up", "slide in down", "hammer nowhere"} & meant
            joined = {"slide up", "slide down", "hammer"} & meant
            return sounding and (bool(joined) or not nowhere)
        if note.touching:
            return True
        before = self._sounding.get(note.string) or self._latest.get(note.string)
        if before is None or before.note.fret is None or note.fret is None:
            return note.begin == "p"
        rises = note.fret > before.note.fret
        return {
            "/": sounding and rises,
            "\\": sounding and not rises,
            "h": sounding and rises,
            "p": not rises,
            "t": sounding,
        }.get(note.begin, True)

    def _reopen(self, string: int) -> _Active | None:
        """Let the last note of a string go on up to now, since something is connected to it."""
        if self._ours:
            return None
        active = self._latest[string]
        if active.lead or any(later.start > active.start for later in (self._latest[string],)):
            return None
        active.end = None
        self._sounding[string] = active
        return active

    def _strike(
        self, note: ScannedNote, begin: Technique, column: TimedColumn, now: Fraction, said: ColumnSpans, step: Fraction
    ) -> _Active:
        if note.string in self._sounding:
            self._end(note.string, now)
        active = _Active(note, now, column.at, column.lead, begin, step)
        active.rings = "=" in note.marks
        active.spans = set(said.rings)
        if said.rings:
            note.marks.add("ring")
        step = min(step, _USUAL_STEP)
        for k, shape in enumerate(inside := [s for s in note.shapes if not s.own_column]):
            part = step / len(inside)
            active.shapes.append((shape, part * k, part))
            self._held_bend(active, shape, said)
        self._sounding[note.string] = active
        self._by_note[id(note)] = active
        return active

    def _shape(self, owner: ScannedNote, shape: ScannedShape, now: Fraction, step: Fraction, said: ColumnSpans) -> None:
        """Add a shape that stands apart from its note."""
        active = self._by_note.get(id(owner)) or self._sounding.get(owner.string)
        if active is None:
            return
        if self._sounding.get(owner.string) is not active:
            if self._ours or active.lead or owner.string in self._sounding:
                return
            active.end = None
            self._sounding[owner.string] = active
        active.shapes.append((shape, now - active.start, min(step, _USUAL_STEP)))
        self._held_bend(active, shape, said)

    def _held_bend(self, active: _Active, shape: ScannedShape, said: ColumnSpans) -> None:
        if shape.kind in _BENDS:
            active.holds = set(said.holds) if shape.kind != "r" or shape.by else set()


def _kept(active: _Active, said: ColumnSpans) -> bool:
    """Return True for a note that a picked one does not end: it rings, or both stand under one line."""
    return bool(active.rings or active.spans & said.rings or active.holds & said.holds)


def _kind(column: TimedColumn, said: ColumnSpans) -> GroupKind:
    """Return what the notes of a column are; what leads to another column and has no word above is a grace note."""
    if said.kind is GroupKind.SCRAPE or (column.lead and said.kind is not GroupKind.NOTE):
        return said.kind
    return GroupKind.GRACE if column.lead else GroupKind.NOTE


def _place(note: ScannedNote) -> str:
    return "x" if note.fret is None else str(note.fret)


# --- to the draft ----------------------------------------------------------------------------------------------------


def _group(column: PlayedColumn) -> DraftGroup:
    return DraftGroup(column.at, tuple(_note(active, column.kind) for active in column.notes), column.kind, column.roll)


def _note(active: _Active, kind: GroupKind) -> DraftNote:
    note = active.note
    end = active.end if active.end is not None else active.start
    length = Fraction(0) if active.lead else max(Fraction(0), end - active.start)
    shapes = tuple(_draft_shape(*shape) for shape in _in_order(active.shapes) if not (active.lead and shape[1] > 0))
    muted = kind in (GroupKind.RAKE, GroupKind.SCRAPE)
    head = HEADS[note.head] if note.head and not muted else None
    return DraftNote(
        note.string, note.fret, length, active.begin, head, note.touch, marks_of(note), shapes,
        trill=note.trill, sure=note.sure, span=note.span,
    )  # fmt: skip


def _in_order(
    shapes: Iterable[tuple[ScannedShape, Fraction, Fraction]],
) -> list[tuple[ScannedShape, Fraction, Fraction]]:
    return sorted(shapes, key=lambda shape: shape[1])


def marks_of(note: ScannedNote) -> tuple[Technique, ...]:
    """Return the marks and words on a note as rows of the table of techniques, in its order."""
    found = [MARKS[sign] for sign in MARKS if sign in note.marks]
    return (*found, *(WORDS[sign] for sign in WORDS if sign in note.marks))


def _draft_shape(shape: ScannedShape, at: Fraction, step: Fraction) -> DraftShape:
    technique = SHAPES[shape.kind]
    lasting = shape.kind in ("~", "~~")
    by = shape.by if shape.by is not None or shape.kind not in ("^", "^^") else Fraction(2)
    return DraftShape(technique, at, None if lasting else step, by)
