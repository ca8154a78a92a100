"""What the player of a lesson page knows of a lick: notes, bars, beats and counts in seconds, for each tempo that is recorded.

In: a lick as counted and as sounded. Out: plain values for JSON. All of it comes from the Timeline, the Grid and the Performance; nothing is timed here.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any

from lickwright.core.fast_dataclass import replace
from lickwright.export import LoweredLick, Options
from lickwright.layout.grid import Grid
from lickwright.performance.note_events import NoteEvent, Performance
from lickwright.performance.pitch_curves import CurveShape
from lickwright.synth.arrangement import arrange
from lickwright.timeline.model import Timeline

_SHAPES = {
    CurveShape.EASE: 0,
    CurveShape.ABOVE: 1,
    CurveShape.AROUND: 2,
    CurveShape.FRETS: 3,
}  # numbers that sound.js knows


def score(lowered: LoweredLick, performances: Sequence[tuple[Fraction, Performance]]) -> dict[str, Any]:
    """The lick for the player: `performances` are those that it can play, each with its per cent of the page's tempo, the full one first."""
    timeline = lowered.timeline
    settings = timeline.settings
    full = performances[0][1]
    bpm = settings.tempo.beats_per_minute(full.opening_qpm, settings.meter)
    return {
        "bpm": _number(float(bpm)),
        "beat": settings.tempo.counted_value(settings.meter),
        "strings": settings.tuning.strings,
        "takes": [{"percent": _number(float(share)), **_take(lowered, one)} for share, one in performances],
    }


def written_events(timeline: Timeline) -> list[int]:
    """For each sound the sound that stands on paper for it: of a bar that is played again, that of its first time."""
    first: dict[tuple[int, int], int] = {}
    found = []
    for sound in timeline.sounds:
        found.append(first.setdefault((sound.slot, sound.string), sound.index))
    return found


def _take(lowered: LoweredLick, performance: Performance) -> dict[str, Any]:
    timeline = lowered.timeline
    beats = arrange(timeline, [(None, performance)], count_in=1, click=True)
    shift = beats.rounds[0].at  # from seconds of the performance to those of the counted recording
    music = performance.bars[0] if performance.bars else 0.0
    clicks = [(click.at - shift, click.first) for click in beats.clicks]
    events = written_events(timeline)
    return {
        "end": _number(performance.end),
        "bars": list(_bars(lowered.grid(), performance)),
        "lead": [[_number(at - music), int(first)] for at, first in clicks if at < music - 1e-6],
        "bar": _number(float(timeline.settings.meter.length * 240 / performance.opening_qpm)),
        "clicks": [[_number(at), int(first)] for at, first in clicks if at >= music - 1e-6],
        "notes": [_note(timeline, events, note) for note in performance.notes],
    }


def _bars(grid: Grid, performance: Performance) -> Iterator[dict[str, Any]]:
    """The bars as played: number, index as written, second, and its instants: second, whole notes from the bar's start, what is counted."""
    timeline = grid.timeline
    for turn, start in zip(timeline.passes, performance.bars, strict=True):
        drawn = grid.bars[turn.bar]
        instants = [column for column in grid.columns[drawn.first : drawn.last] if not column.lead]
        yield {
            "name": str(drawn.bar.number),
            "written": turn.bar,
            "at": _number(start),
            "instants": [
                [_number(performance.seconds(turn.start + i.at)), str(timeline.fraction(i.at)), i.said]
                for i in instants
            ],
        }


def _note(timeline: Timeline, events: list[int], note: NoteEvent) -> list[Any]:
    """Event as written, string, fret or None, start, end, sounding pitch, loudness, joined, moves."""
    sound = timeline.sounds[note.sound]
    fret = None if sound.dead or sound.fret is None else sound.fret
    moves = [[_number(m.start), _number(m.end), _number(m.change), _SHAPES[m.shape]] for m in note.moves]
    pitch = None if sound.dead else _number(note.pitch)
    times = (_number(note.start), _number(note.end))
    return [events[note.sound], note.string, fret, *times, pitch, _number(note.loudness), int(note.joined), moves]


def _number(value: float) -> float | int:
    """To a thousandth, a whole number without its point."""
    rounded = round(value, 3)
    return int(rounded) if rounded == int(rounded) else rounded


def slow_options(options: Options, percent: int) -> Options:
    """The same at `percent` of the tempo that is asked for."""
    if options.tempo_bpm is not None:
        return replace(options, tempo_bpm=options.tempo_bpm * percent / 100)
    return replace(options, tempo_percent=(options.tempo_percent or Fraction(100)) * percent / 100)
