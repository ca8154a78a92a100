"""MIDI files read into drafts.

In: the bytes of a Standard MIDI File that anybody may have made. Out: one `LickDraft`, or one a phrase, with its doubts: notes on a grid of bars, bends as
techniques, strings and frets as the file has them or as a hand would play them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from fractions import Fraction
from functools import partial
from statistics import mean

from lickwright.core.fast_dataclass import replace
from lickwright.core.unreadable import Unreadable
from lickwright.importers.box_places import box_places
from lickwright.importers.draft import Doubt, DraftBar, DraftDirection, DraftGroup, GroupKind, LickDraft
from lickwright.importers.midi.assemble import PlacedNote, note_ends, placed_draft_note
from lickwright.importers.midi.phrases import phrase_bars
from lickwright.importers.midi.played_notes import PlayedNote, played_notes
from lickwright.importers.midi.quantizer import QuantizedOnsets, nearest_place, quantize, shape_place, unswung
from lickwright.importers.midi.song import MidiSong, SongClock, read_song
from lickwright.importers.midi.string_places import string_places
from lickwright.importers.midi.timeline_grid import GridBar, grid_bars
from lickwright.importers.midi.voices import ChosenNotes, choose_notes
from lickwright.importers.options import ReadOptions
from lickwright.importers.rules import LEFT_OUT, NO_PLACE, PLACES_CHOSEN, QUANTIZED, TRACK_CHOSEN
from lickwright.music.instruments import DEFAULT_INSTRUMENT, INSTRUMENTS
from lickwright.music.pitch import parse_key
from lickwright.music.rhythm import TEMPO_MAX, TEMPO_MIN
from lickwright.notation.techniques import TechniqueKind

_MOST_NOTES = 10_000  # events of a lick
_TOGETHER = 0.022  # seconds within which notes are struck together
_LISTED = 8


def read_midi(data: bytes, name: str, options: ReadOptions) -> tuple[LickDraft, ...]:
    """Return the licks of a MIDI file; `name` is their title where it has none.

    Raises `Unreadable` for bytes that are no MIDI file, past the limits of size, for a track that is not there, and where mido is not installed.
    """
    song = read_song(data)
    chosen = choose_notes(song, options.track.strip(), options.tuning)
    if len(chosen.notes) > _MOST_NOTES:
        raise Unreadable(
            f"the track has {len(chosen.notes):,} notes; a lick holds {_MOST_NOTES:,}", "export a part of it"
        )
    return _Reading(song, chosen, name, options).drafts()


class _Reading:
    """One file on its way to drafts."""

    def __init__(self, song: MidiSong, chosen: ChosenNotes, name: str, options: ReadOptions) -> None:
        self._song, self._chosen, self._name, self._options = song, chosen, name, options
        self._clock = SongClock(song)
        self._notes = played_notes(song, chosen)
        self._doubts: list[Doubt] = []
        struck = [note for note in self._notes if not note.words.stolen] or self._notes
        self._bars = grid_bars(song, max(note.off for note in self._notes), struck[0].on)
        self._starts = [bar.start for bar in self._bars]
        self._fields = self._heading()
        self._together()
        self._quantized = self._quantize()

    # --- the result ----------------------------------------------------------------------------------------------

    def drafts(self) -> tuple[LickDraft, ...]:
        """Return one draft, or one a phrase."""
        placed = self._placed()
        bars = self._draft_bars(placed)
        self._say_left()
        fields = tuple((name, value) for name, value in self._fields.items() if value)
        draft = LickDraft(self._song.names.get(0, "") or self._name, bars, fields, (), tuple(self._doubts))
        if not self._options.phrases:
            return (draft,)
        phrases = phrase_bars(bars)
        if len(phrases) == 1:
            return (draft,)
        return tuple(
            replace(draft, title=f"{draft.title}, phrase {n}", bars=some, doubts=draft.doubts if n == 1 else ())
            for n, some in enumerate(phrases, 1)
        )

    def _draft_bars(self, placed: Sequence[PlacedNote]) -> tuple[DraftBar, ...]:
        groups: defaultdict[int, defaultdict[tuple[Fraction, int], list[PlacedNote]]] = defaultdict(
            lambda: defaultdict(list)
        )
        lead = 0
        for one in placed:
            index = self._bar_at(one.start)
            stolen = one.kind is not GroupKind.NOTE
            lead += stolen
            groups[index][one.start - self._bars[index].start, lead if stolen else 1 << 30].append(one)
        directions = self._directions()
        found = []
        for n, bar in enumerate(self._bars):
            own = tuple(_group(at, groups[n][at, order]) for at, order in sorted(groups[n]))
            found.append(DraftBar(own, bar.length, bar.meter, directions=tuple(directions.get(n, ()))))
        return tuple(found)

    def _bar_at(self, at: Fraction) -> int:
        from bisect import bisect_right

        return max(0, bisect_right(self._starts, at) - 1)

    # --- the grid ------------------------------------------------------------------------------------------------

    def _whole(self, tick: float) -> Fraction:
        return Fraction(tick) / (4 * self._song.ticks_a_quarter)

    def _pace(self, tick: int) -> float:
        return self._clock.pace(tick) * 4 * self._song.ticks_a_quarter

    def _together(self) -> None:
        """Let notes that are struck together begin at one tick; a chord that is struck string after string is rolled."""
        group: list[PlayedNote] = []
        for note in [*self._notes, None]:
            if note is not None and group and note.words.stolen == group[0].words.stolen:
                close = self._clock.seconds(note.on) - self._clock.seconds(group[-1].on) <= self._gap(note)
                if close and note.on != group[0].on and all(note.line != one.line or not note.string for one in group):
                    group.append(note)
                    continue
                if note.on == group[0].on:
                    group.append(note)
                    continue
            _bring_together(group)
            group = [] if note is None else [note]

    def _gap(self, note: PlayedNote) -> float:
        """Return how many seconds may lie between notes struck together: more where words say that they are rolled, none for stolen notes."""
        return 0.0 if note.words.stolen else 0.05 if "rolled" in note.words.names else _TOGETHER

    def _quantize(self) -> QuantizedOnsets:
        ticks = sorted({note.on for note in self._notes if not note.words.stolen} or {self._notes[0].on})
        onsets = [max(self._bars[0].start, self._whole(tick)) for tick in ticks]
        found = quantize(onsets, [self._pace(tick) for tick in ticks], self._bars, self._whole(1))
        self._places = dict(zip(ticks, found.places, strict=True))
        self._onsets = onsets
        self._fields["feel"] = "" if found.feel.name == "straight" else str(found.feel)
        worst, usual = max(found.errors), mean(found.errors)
        if worst > 0.002:
            message = (
                f"onsets are moved to the grid by {usual * 1000:.0f} ms on average, by {worst * 1000:.0f} ms at most"
            )
            self._doubts.append(
                Doubt(QUANTIZED, message, "compare it with the recording", confidence=max(0.0, 1 - usual / 0.03))
            )
        return found

    def _place(self, tick: float) -> Fraction:
        """Return the grid instant nearest to a tick that is no onset."""
        at = unswung(self._whole(tick), self._bars, self._starts, self._quantized.feel, self._onsets)
        start = self._bars[self._bar_at(at)].start
        return start + nearest_place(at - start, self._pace(int(tick)), self._quantized.written)

    def _shape_place(self, note: PlayedNote, seconds: float) -> Fraction:
        """Return the grid instant so many seconds after the start of a note."""
        tick = note.on + seconds / self._clock.pace(note.on)
        at = unswung(self._whole(tick), self._bars, self._starts, self._quantized.feel, self._onsets)
        start = self._bars[self._bar_at(at)].start
        return start + shape_place(at - start, self._pace(note.on))

    # --- notes ---------------------------------------------------------------------------------------------------

    def _placed(self) -> list[PlacedNote]:
        starts = [self._start(n) for n in range(len(self._notes))]
        ends = note_ends(self._notes, starts, self._clock.seconds, self._place)
        strings = self._strings(starts)
        found = []
        for note, start, end, (string, fret) in zip(self._notes, starts, ends, strings, strict=True):
            if not string:
                continue
            one = placed_draft_note(note, start, end, partial(self._shape_place, note), string, fret)
            kind = (
                GroupKind.RAKE
                if "rake stroke" in note.words.names
                else GroupKind.GRACE
                if note.words.stolen
                else GroupKind.NOTE
            )
            found.append(PlacedNote(start, one, kind, note))
        lost = len(self._notes) - len(found)
        if lost:
            message = f"{lost} of {len(self._notes)} notes lie on no string that is free, and are left out"
            self._doubts.append(Doubt(NO_PLACE, message, "is it written for this tuning?"))
        return _lengthened(found)

    def _start(self, index: int) -> Fraction:
        """Return where a note begins; a stolen one where the note begins that it leads to."""
        note = self._notes[index]
        if not note.words.stolen:
            return self._places[note.on]
        leads_to = (other for other in self._notes[index:] if not other.words.stolen)
        following = next(leads_to, None)
        return self._places[following.on] if following is not None else self._place(note.off)

    def _strings(self, starts: Sequence[Fraction]) -> list[tuple[int, int]]:
        """Return string and fret of each note, string 0 for one without a place."""
        tuning, capo = self._chosen.tuning, self._chosen.capo
        places, chosen = string_places(
            self._notes, starts, self._clock.seconds, tuning, capo, box_places(self._fields, tuning)
        )
        if chosen:
            message = f"strings and frets of {chosen} of {len(places)} notes are chosen by Lickwright"
            self._doubts.append(Doubt(PLACES_CHOSEN, message, "name a box with --box to move them"))
        return places

    # --- what is said --------------------------------------------------------------------------------------------

    def _heading(self) -> dict[str, str]:
        tuning, capo = self._chosen.tuning, self._chosen.capo
        rows = [row.name for row in INSTRUMENTS.values() if row.program == self._chosen.program]
        sound = rows[0] if rows and rows[0] != DEFAULT_INSTRUMENT else ""
        key = self._options.key
        if not key and self._song.keys:
            name = self._song.keys[0][1]
            heard = parse_key(f"{name.removesuffix('m')} {'minor' if name.endswith('m') else 'major'}")
            key = str(heard.transposed(-(capo + tuning.shift)))
        by = next((text[3:] for _, text in self._song.texts if text.startswith("by ")), "")
        return {
            "by": by, "key": key, "box": self._options.box, "tempo": self._tempo_text(self._first_tempo()),
            "tuning": "" if tuning.name == "standard" else tuning.name, "capo": str(capo or ""), "sound": sound,
        }  # fmt: skip

    def _first_tempo(self) -> int:
        start = self._bars[0].start
        before = [tempo for tick, tempo in self._song.tempos if self._whole(tick) <= start]
        return before[-1] if before else 500_000

    def _tempo_text(self, microseconds: int, bar: GridBar | None = None) -> str:
        beats = 60e6 / microseconds / float(4 * (bar or self._bars[0]).meter.beat)
        rounded = round(beats) if abs(beats - round(beats)) < 0.01 else round(beats, 2)
        return f"{rounded:g}" if TEMPO_MIN <= rounded <= TEMPO_MAX else ""

    def _directions(self) -> dict[int, list[DraftDirection]]:
        found: defaultdict[int, list[DraftDirection]] = defaultdict(list)
        last, end = self._first_tempo(), self._bars[-1].end
        for tick, tempo in self._song.tempos:
            at = self._place(tick)
            if tempo == last or not self._bars[0].start < at < end:
                continue
            last = tempo
            n = self._bar_at(at)
            text = self._tempo_text(tempo, self._bars[n])
            if text:
                found[n].append(DraftDirection(at - self._bars[n].start, "tempo", text))
        for tick, text in self._song.cues:
            at = self._place(tick)
            if self._bars[0].start <= at < end:
                found[self._bar_at(at)].append(DraftDirection(at - self._bars[self._bar_at(at)].start, "words", text))
        return {n: sorted(some, key=lambda one: one.at) for n, some in found.items()}

    def _say_left(self) -> None:
        if self._chosen.left:
            more = ", …" if len(self._chosen.left) > _LISTED else ""
            message = f"{self._chosen.name} is read; left: {', '.join(self._chosen.left[:_LISTED])}{more}"
            self._doubts.append(Doubt(TRACK_CHOSEN, message, "name another with --track"))
        if self._song.drums:
            self._doubts.append(
                Doubt(LEFT_OUT, f"{self._song.drums} notes of percussion are left out", "they have no string")
            )
        if self._song.hanging:
            self._doubts.append(
                Doubt(
                    LEFT_OUT,
                    f"{self._song.hanging} notes have no end: they last to the end of their track",
                    "shorten them by hand",
                )
            )


def _bring_together(group: Sequence[PlayedNote]) -> None:
    if len(group) < 2:
        return
    first = group[0].on
    for note in group:
        note.on = first


def _lengthened(placed: list[PlacedNote]) -> list[PlacedNote]:
    """Return the notes, each as long as it takes to be gone on from by the one that is connected to it."""
    following: dict[int, PlacedNote] = {}
    found: list[PlacedNote] = []
    for one in reversed(placed):
        after = following.get(one.note.string)
        if after is not None and one.kind is GroupKind.NOTE:
            gap = after.start - one.start
            if one.note.length > gap > 0 or (after.note.begin.kind is TechniqueKind.JOIN and gap > 0):
                one = one._replace(note=replace(one.note, length=gap))
        following[one.note.string] = one
        found.append(one)
    return found[::-1]


def _group(at: Fraction, placed: Iterable[PlacedNote]) -> DraftGroup:
    some = list(placed)
    notes = tuple({one.note.string: one.note for one in some}.values())
    return DraftGroup(
        at, notes, some[0].kind, len(notes) > 1 and any("rolled" in one.played.words.names for one in some)
    )
