"""Timing sheet as JSON, for programs: the lick, its tempo, and a note a row as in the CSV.

In: a lick as counted and as sounded. Out: UTF-8, one note a line. Nothing is lost.
"""

from __future__ import annotations

from lickwright.backends import Emission, Options, Stages
from lickwright.backends.timing import COLUMNS, rows
from lickwright.diagnostics import Rule

RULES: tuple[Rule, ...] = ()


def emit(stages: Stages, options: Options) -> Emission:
    """An object with a heading and `notes`."""
    from json import dumps

    timeline, performance = stages.timeline, stages.performance(options)
    settings = timeline.settings
    heading = {
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
            {"at_s": round(tempo.seconds, 3), "quarters_a_minute": round(float(tempo.qpm), 3)}
            for tempo in performance.tempos
        ],
        "bars": [round(start, 3) for start in performance.bars],
    }
    if options.recording.practice:
        from lickwright.backends.audio import ladder

        heading["ladder"] = [
            {"at_s": round(rung.at + rung.performance.bars[0], 3), "beats_a_minute": round(float(rung.bpm or 0), 3)}
            for rung in ladder(stages, options)
        ]
    lines = [f"  {dumps(name)}: {dumps(value, ensure_ascii=False)}," for name, value in heading.items()]
    notes = [
        "    " + dumps(dict(zip(COLUMNS, row, strict=True)), ensure_ascii=False) for row in rows(timeline, performance)
    ]
    text = "{\n" + "\n".join(lines) + '\n  "notes": [\n' + ",\n".join(notes) + "\n  ]\n}\n"
    return Emission(text.encode())
