"""Findings at a written slot or note, with the bar and the count that a player would name.

In: a rule, a Timeline, a slot or sound. Out: `Diagnostic`s, and the words for strings and notes in them. Judges nothing.
"""

from __future__ import annotations

from lickwright.core.diagnostics import Diagnostic, Fix, RelatedInformation, Rule, Severity
from lickwright.core.source import Span
from lickwright.timeline.bar_count import count_name, instant_in_meter
from lickwright.timeline.model import Bar, SoundingNote, Timeline


def beat_at(timeline: Timeline, bar: Bar, at: int) -> str | None:
    """Return the count of an instant, `2 &`; None past the end of what the meter counts. `at` is in grains."""
    counted = 0 <= instant_in_meter(timeline, bar, at) < timeline.settings.meter.length
    return count_name(timeline, bar, at) if counted else None


def music_rule(
    title: str,
    code: str,
    name: str,
    summary: str,
    explanation: str,
    bad: str,
    good: str,
    severity: Severity = Severity.ERROR,
) -> Rule:
    """Return a rule whose two examples are a line of music each, in licks of this title in A minor."""
    texts = (f'lick "{title}"\nkey A minor\n| {music} ||\n' for music in (bad, good))
    return Rule(code, name, severity, summary, explanation, *texts)


def finding_at_slot(
    rule: Rule,
    timeline: Timeline,
    slot: int,
    span: Span,
    message: str,
    hint: str | None = None,
    notes: tuple[RelatedInformation, ...] = (),
    severity: Severity | None = None,
    fix: Fix | None = None,
) -> Diagnostic:
    """Return a finding at something that stands in a written slot."""
    where = timeline.slots[slot]
    bar = timeline.bars[where.bar]
    return rule.at(span, message, hint, notes, bar.number, beat_at(timeline, bar, where.at), severity, fix)


def finding_at_sound(
    rule: Rule,
    timeline: Timeline,
    sound: SoundingNote,
    message: str,
    hint: str | None = None,
    notes: tuple[RelatedInformation, ...] = (),
    severity: Severity | None = None,
    fix: Fix | None = None,
) -> Diagnostic:
    """Return a finding at a note."""
    return finding_at_slot(rule, timeline, sound.slot, sound.span, message, hint, notes, severity, fix)


def string_in_words(timeline: Timeline, string: int) -> str:
    """Return a string as one says it: "string G", or "string 6" where no letter holds."""
    return f"string {timeline.settings.tuning.written(string).rstrip(':')}"


def note_as_typed(timeline: Timeline, string: int, fret: int | str) -> str:
    """Return a note as one types it: `G7`, `6:7`."""
    return f"{timeline.settings.tuning.written(string)}{fret}"


def bend_as_typed(timeline: Timeline, sign: str, fret: int, semitones: int) -> str:
    """Return a bend or release by so many semitones as one types it: `^10`; `^full` where the neck has no such fret; else ""."""
    if fret + semitones <= timeline.settings.frets - timeline.settings.capo:
        return f"{sign}{fret + semitones}"
    name = {1: "half", 2: "full"}.get(semitones)
    return f"{sign}{name}" if name and sign != "r" else ""
