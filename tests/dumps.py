"""A lick as counted and as sounded, written out as text: what the golden files hold.

In: a Timeline or a Performance. Out: lines that say all of it, to be read and compared.
"""

from __future__ import annotations

from lickwright.notation.techniques import Damping
from lickwright.performance.note_events import NoteEvent, Performance
from lickwright.timeline.model import SoundingNote, Timeline


def timeline_text(timeline: Timeline) -> str:
    """The lick as counted, as text for people and for comparing: written bars, then the bars as played with their sounds."""

    def at(grains: int) -> str:
        return str(timeline.fraction(grains))

    lines = [f"{timeline.title}: {at(timeline.end)} whole notes as played"]
    for n, bar in enumerate(timeline.bars):
        signs = [
            *(["|:"] if bar.repeat_start else []),
            *([f"ending {bar.ending}"] if bar.ending else []),
            *(["%"] if bar.same else []),
            *([f":| {bar.repeat_end} times"] if bar.repeat_end else []),
            *(["||"] if bar.double else []),
            *(node.mark.printed for node in bar.marks),
        ]
        lines.append(
            f"bar {bar.number} at {at(bar.start)} holds {at(bar.length)} of {at(bar.nominal)} {' '.join(signs)}".rstrip()
        )
        lines += [
            f"  {_written(word.word, timeline, word.first, word.last)}"
            for word in timeline.words
            if _starts(timeline, word.first, n)
        ]
        lines += [
            f"  {_written(f'{t.count} in {t.normal}', timeline, t.first, t.last)}"
            for t in timeline.tuplets
            if _starts(timeline, t.first, n)
        ]
    lines += [f"tempo {float(tempo.qpm):g} quarters a minute at {at(tempo.start)}" for tempo in timeline.tempos]
    lines += [f"pause {at(start)} to {at(end)}" for start, end in timeline.fermatas]
    lines.append("played " + " ".join(f"{timeline.bars[turn.bar].number}@{at(turn.start)}" for turn in timeline.passes))
    lines += [_sounded(sound, timeline) for sound in timeline.sounds]
    return "\n".join(lines) + "\n"


def _starts(timeline: Timeline, slot: int, bar: int) -> bool:
    return timeline.slots[slot].bar == bar


def _written(what: str, timeline: Timeline, first: int, last: int) -> str:
    start, end = timeline.slots[first], timeline.slots[last]
    return f"{what} from {timeline.fraction(start.at)} to bar {timeline.bars[end.bar].number} {timeline.fraction(end.at + end.length)}"


def _sounded(sound: SoundingNote, timeline: Timeline) -> str:
    fret = "x" if sound.fret is None and sound.touch is None else "" if sound.fret is None else sound.fret
    touch = f"<{float(sound.touch):g}>" if sound.touch is not None else ""
    words = [sound.begin.name, *([sound.head.name] if sound.head else []), *(mark.name for mark in sound.marks)]
    words += [sound.kind] if sound.kind != "note" else []
    words += [f"lead {sound.lead}"] if sound.lead else []
    words += [f"from {sound.source}"] if sound.source is not None else []
    words += [f"trill {sound.trill}"] if sound.trill is not None else []
    words += [f"roll {sound.roll}"] if sound.roll is not None else []
    words += [f"finger {finger}" for finger in (sound.finger, sound.pluck) if finger]
    words += [
        f"{shape.technique.name} {timeline.fraction(shape.start)}-{timeline.fraction(shape.end)} to {shape.amount:+g}"
        for shape in sound.shapes
    ]
    span = f"{timeline.fraction(sound.start)}-{timeline.fraction(sound.end)}"
    return (
        f"{sound.index:4} {span:>12}  {sound.string}:{fret}{touch} {sound.pitch:g} {sound.dynamic}  {', '.join(words)}"
    )


def performance_text(performance: Performance) -> str:
    """The performance as text, for people and for comparing: one line a note, its moves after it."""
    lines = [f"lead-in {performance.lead_in}, ends at {performance.end:.4f} s"]
    lines += [f"tempo {float(t.qpm):.3f} at quarter {t.quarters:.4f}, {t.seconds:.4f} s" for t in performance.tempos]
    lines.append("bars " + " ".join(f"{start:.4f}" for start in performance.bars))
    lines += [_line(note) for note in performance.notes]
    return "\n".join(lines) + "\n"


def _line(note: NoteEvent) -> str:
    words = [note.stroke.value]
    if note.joined:
        words.append("joined")
    if note.damping is not Damping.NONE:
        words.append(note.damping.value)
    if note.fade_in:
        words.append(f"fades in {note.fade_in:.4f}")
    if note.partial > 1:
        words.append(f"partial {note.partial}")
    words += [f"{move.shape.value} {move.start:.4f}-{move.end:.4f} {move.change:+.4f}" for move in note.moves]
    name = f"{note.sound}.{note.part}" if note.part else str(note.sound)
    place = f"{note.start:9.4f} {note.end:9.4f}  {name:>5}  string {note.string}"
    return f"{place}  {note.pitch:8.4f}  {note.loudness:.3f}  " + ", ".join(words)
