"""Timing sheet as JSON, for programs: the lick, its tempo, and the rows of the CSV, those of notes and of bends apart.

In: a lick as counted and as sounded. Out: UTF-8, one row a line. Nothing is lost.
"""

from __future__ import annotations

from lickwright.core.diagnostics import Rule
from lickwright.export import Export, LoweredLick, Options
from lickwright.export.timing import COLUMNS, NOTE, TimingRow, timing_rows

RULES: tuple[Rule, ...] = ()


def emit(lowered: LoweredLick, options: Options) -> Export:
    """Return an object with a heading, `notes`, and `bends`: when each bend and release sets off and arrives."""
    from json import dumps

    heading = _heading(lowered, options)
    lines = [f"  {dumps(name)}: {dumps(value, ensure_ascii=False)}," for name, value in heading.items()]
    rows = timing_rows(lowered.timeline, lowered.performance(options))
    notes = [_line(row) for row in rows if row.event == NOTE]
    bends = [_line(row) for row in rows if row.event != NOTE]
    text = "{\n" + "\n".join(lines) + '\n  "notes": [\n' + ",\n".join(notes) + "\n  ],\n"
    text += '  "bends": [\n' + ",\n".join(bends) + "\n  ]\n}\n" if bends else '  "bends": []\n}\n'
    return Export(text.encode())


def _heading(lowered: LoweredLick, options: Options) -> dict[str, object]:
    """Return what holds for the whole lick, by the names in the file."""
    timeline, performance = lowered.timeline, lowered.performance(options)
    settings, tempo = timeline.settings, timeline.settings.tempo
    heading: dict[str, object] = {
        "lick": timeline.title,
        "by": settings.by,
        "rights": settings.rights,
        "key": str(settings.key) if settings.key else None,
        "scale": str(settings.scale) if settings.scale else None,
        "meter": str(settings.meter),
        "feel": str(settings.feel),
        "tuning": str(settings.tuning),
        "capo": settings.capo,
        "seconds": round(performance.end, 3),
        "tempos": [
            {
                "at_s": round(step.seconds, 3),
                "beat": tempo.counted_value(settings.meter),
                "beats_a_minute": round(float(tempo.beats_per_minute(step.qpm, settings.meter)), 3),
            }
            for step in performance.tempos
        ],
        "bars": [round(start, 3) for start in performance.bars],
    }
    if options.recording.practice:
        from lickwright.export.audio import ladder_rounds

        heading["ladder"] = [
            {"at_s": round(rung.at + rung.performance.bars[0], 3), "beats_a_minute": round(float(rung.bpm or 0), 3)}
            for rung in ladder_rounds(lowered, options)
        ]
    return heading


def _line(row: TimingRow) -> str:
    from json import dumps

    return "    " + dumps(dict(zip(COLUMNS, row, strict=True)), ensure_ascii=False)
