"""The report on a recording as a value for JSON, by the schema `report.schema.json`, which gives the unit of every number.

In: a `Judgement` and its `TakeContext`. Out: dictionaries, lists, strings and numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite
from typing import Any

from lickwright.compare.diff import score_position
from lickwright.compare.score import FORMULA
from lickwright.listen.advice import PracticeStep, played_bpm, written_bpm
from lickwright.listen.model import HeardNote, HeardPause, JudgedPass, Judgement, TakeContext
from lickwright.listen.remarks import Remark
from lickwright.listen.summary import (
    NEVER_JUDGED,
    bar_scores,
    caution_words,
    not_told,
    refusal_hints,
    summarize_take,
)  # fmt: skip
from lickwright.timeline.model import Timeline

FORMAT = "lickwright listening report 1"
VERSION = "1.2"  # of the schema: a new member counts up the second number; without it a report is of 1.0


def judgement_as_json(judgement: Judgement, context: TakeContext) -> dict[str, Any]:
    """Return the report as a value for JSON."""
    timeline, refusal = judgement.timeline, judgement.refusal
    found: dict[str, Any] = {
        "format": FORMAT, "version": VERSION, "title": timeline.title, "lick": context.lick, "recording": context.recording,
        "recorded_on": context.day, "notes": list(context.notes), "seconds": round(judgement.seconds, 3),
        "recognized": not refusal, "refusal_kind": str(refusal.kind) if refusal else "", "refusal": refusal.words if refusal else "",
        "hints": refusal_hints(judgement),
        "tuning_cents": round(100 * judgement.tuning, 1),
        "shift_semitones": judgement.shift, "written_bpm": float(written_bpm(timeline)), "written_feel": str(timeline.settings.feel),
        "never_judged": list(NEVER_JUDGED),
        "passed_over": list(judgement.passed_over), "caution": caution_words(judgement),
    }  # fmt: skip
    if refusal:
        return found | {"passes": []}
    summary = summarize_take(judgement, context)
    passes = [
        _pass(timeline, one, remarks) for one, remarks in zip(judgement.passes, summary.pass_remarks, strict=True)
    ]
    return found | {
        "passes": passes, "best": judgement.best, "played_feel": str(judgement.feel), "headline": summary.headline,
        "counts": summary.counts, "facts": summary.facts,
        "by_bar": summary.by_bar, "praise": summary.praise, "practice": [step.words for step in summary.practice],
        "practice_steps": [_practice_step(step) for step in summary.practice], "score_formula": FORMULA,
    }  # fmt: skip


def _practice_step(step: PracticeStep) -> dict[str, Any]:
    runs = [{"from": first, "to": last} for first, last in step.bars]
    return {"words": step.words, "short": step.short, "bars": runs, "bpm": step.bpm}


def _pass(timeline: Timeline, one: JudgedPass, remarks: Sequence[Remark]) -> dict[str, Any]:
    score = one.score
    return {
        "start_s": round(one.start, 3), "stop_s": round(one.stop, 3), "bpm": round(played_bpm(timeline, one), 1),
        "tempo_percent": round(100 / one.pace, 1), "drift_percent": round(100 * one.drift, 1),
        "score": {"of_100": score.of_100, "points": score.points, "possible": score.possible, "right": score.right,
                  "notes": score.notes, "extra": score.extra},
        "bars": [{"bar": bar, "right": right, "judged": told} for bar, right, told in bar_scores(timeline, one)],
        "remarks": [_remark(remark) for remark in remarks],
        "notes": [_note(timeline, note) for note in one.notes],
        "pauses": [_jump(timeline, one, pause) for pause in one.pauses],
        "skips": [_jump(timeline, one, skip) for skip in one.skips],
        "begun_again": len(one.again), "breaks_off": one.ends_at is not None, "not_told": not_told(one),
    }  # fmt: skip


def _jump(timeline: Timeline, one: JudgedPass, jump: HeardPause) -> dict[str, Any]:
    """Return a pause or a leap: when and where the music goes on, and the note before it where there is one."""
    to = score_position(timeline, jump.before)
    found: dict[str, Any] = {
        "at_s": round(jump.at, 3), "seconds": round(jump.seconds, 2), "bar": to.bar, "beat": to.beat, "time": jump.before.pass_no + 1,
    }  # fmt: skip
    if (before := one.sound_before(jump)) is not None:
        place = score_position(timeline, before)
        found |= {"from_bar": place.bar, "from_beat": place.beat, "from_time": before.pass_no + 1}
    return found


def _remark(remark: Remark) -> dict[str, Any]:
    found: dict[str, Any] = {
        "kind": str(remark.kind), "about": remark.about, "bar": remark.place.bar, "beat": remark.place.beat, "time": remark.time + 1,
        "place": remark.place_words, "words": remark.words,
    }  # fmt: skip
    return found | ({"at_s": round(remark.at, 3)} if remark.at >= 0 else {})


def _note(timeline: Timeline, note: HeardNote) -> dict[str, Any]:
    place = score_position(timeline, note.sound)
    found: dict[str, Any] = {
        "bar": place.bar, "beat": place.beat, "time": note.sound.pass_no + 1, "string": note.sound.string, "fret": note.sound.fret,
        "verdict": str(note.verdict), "differs": sorted(map(str, note.kinds)), "written_pitch": round(note.written, 2),
    }  # fmt: skip
    optional = {
        "why": note.why or None, "onset_s": _rounded(note.onset, 3), "heard_pitch": _rounded(note.pitch, 2),
        "late_ms": _rounded(note.late, 1, 1000), "bend_written_cents": _rounded(note.bend_wanted, 0, 100),
        "bend_heard_cents": _rounded(note.bend_reached, 0, 100), "bend_settled_cents": _rounded(note.bend_settled, 0, 100),
        "bend_late_ms": _rounded(note.bend_late, 0, 1000), "bend_picked_cents": _rounded(note.bend_picked, 0, 100),
        "release_above_cents": _rounded(note.release_off, 0, 100), "release_late_ms": _rounded(note.release_late, 0, 1000),
        "vibrato_written_cents": _rounded(note.vibrato_wanted, 0, 100),
        "vibrato_heard_cents": _rounded(note.vibrato_width, 0, 100),
    }  # fmt: skip
    return found | {name: value for name, value in optional.items() if value is not None}


def _rounded(value: float | None, digits: int, factor: float = 1.0) -> float | None:
    return None if value is None or not isfinite(value) else round(value * factor, digits)
