"""The report on a recording as a value for JSON, by the schema `report.schema.json`, which gives the unit of every number.

In: a `Judgement` and the name of the recording. Out: dictionaries, lists, strings and numbers.
"""

from __future__ import annotations

from math import isfinite
from typing import Any

from lickwright.compare.diff import score_position
from lickwright.compare.score import FORMULA
from lickwright.listen.advice import played_bpm, practice_advice, praise_words, written_bpm
from lickwright.listen.model import HeardNote, Judgement
from lickwright.listen.remarks import Remark, find_remarks
from lickwright.listen.report import NEVER_JUDGED, bar_scores, caution_words, not_told, refusal_hints, whole_facts
from lickwright.timeline.model import Timeline

FORMAT = "lickwright listening report 1"


def judgement_as_json(judgement: Judgement, recording: str) -> dict[str, Any]:
    """Return the report as a value for JSON."""
    timeline = judgement.timeline
    found: dict[str, Any] = {
        "format": FORMAT, "title": timeline.title, "recording": recording, "seconds": round(judgement.seconds, 3),
        "recognized": not judgement.refusal, "refusal": judgement.refusal, "hints": refusal_hints(judgement),
        "tuning_cents": round(100 * judgement.tuning, 1),
        "shift_semitones": judgement.shift, "written_bpm": float(written_bpm(timeline)), "never_judged": list(NEVER_JUDGED),
        "passed_over": list(judgement.passed_over), "caution": caution_words(judgement),
        "passes": [_pass(judgement, n) for n in range(len(judgement.passes))],
    }  # fmt: skip
    if not judgement.refusal:
        remarks = find_remarks(timeline, judgement.passes[judgement.best])
        found |= {
            "best": judgement.best, "facts": whole_facts(judgement), "praise": praise_words(judgement, remarks),
            "practice": practice_advice(judgement, remarks), "score_formula": FORMULA,
        }  # fmt: skip
    return found


def _pass(judgement: Judgement, index: int) -> dict[str, Any]:
    timeline, one = judgement.timeline, judgement.passes[index]
    score = one.score
    return {
        "start_s": round(one.start, 3), "stop_s": round(one.stop, 3), "bpm": round(played_bpm(timeline, one), 1),
        "tempo_percent": round(100 / one.pace, 1), "drift_percent": round(100 * one.drift, 1),
        "score": {"of_100": score.of_100, "points": score.points, "possible": score.possible, "right": score.right,
                  "notes": score.notes, "extra": score.extra},
        "bars": [{"bar": bar, "right": right, "judged": told} for bar, right, told in bar_scores(timeline, one)],
        "remarks": [_remark(remark) for remark in find_remarks(timeline, one)],
        "notes": [_note(timeline, note) for note in one.notes],
        "pauses": [{"at_s": round(p.at, 3), "seconds": round(p.seconds, 2)} for p in one.pauses],
        "begun_again": len(one.again), "breaks_off": one.ends_at is not None, "not_told": not_told(one),
    }  # fmt: skip


def _remark(remark: Remark) -> dict[str, Any]:
    found: dict[str, Any] = {
        "kind": str(remark.kind), "about": remark.about, "bar": remark.place.bar, "beat": remark.place.beat, "time": remark.time + 1,
        "words": remark.words,
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
