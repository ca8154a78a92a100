"""Timing sheet as an aligned table, for reading.

In: a lick as counted and as sounded. Out: UTF-8 text for a fixed-width font. Nothing is lost.
"""

from __future__ import annotations

from lickwright.core.diagnostics import Rule
from lickwright.core.fast_dataclass import replace
from lickwright.export import Export, LoweredLick, Options
from lickwright.export.timing import COLUMNS, TimingRow, timing_rows
from lickwright.hand.measures import CAUTION_LADDER

RULES: tuple[Rule, ...] = ()
# When to move on: the share of correct tries counts, not the number.
_GATE = "one rung up after three clean times, two down after a stumble"
_SECONDS = ("at_s", "for_s", "arrives_s")
_WORDS = (
    "count",
    "note",
    "degree",
    "place",
    "how",
    "bend_to",
    "finger",
    "event",
    "chord_tone",
)  # columns that begin at the left


def emit(lowered: LoweredLick, options: Options) -> Export:
    """Return a heading, the names of the columns, and the rows; for a practice set also the tempos of its ladder."""
    timeline, performance = lowered.timeline, lowered.performance(options)
    tempo, meter = timeline.settings.tempo, timeline.settings.meter
    beats = tempo.beats_per_minute(performance.opening_qpm, meter)
    heading = f"{timeline.title}: {performance.end:.3f} seconds, {tempo.counted_value(meter)} = {float(beats):g}"
    if len(performance.tempos) > 1:
        heading += " to begin with"
    if options.recording.practice:
        tempi = ", ".join(f"{float(bpm):g}" for bpm in options.ladder_rungs(timeline))
        times = replace(options.recording, part="ladder").times
        often = "" if times == 1 else ", twice each" if times == 2 else f", {times} times each"
        heading += f"\npractice ladder: {tempo.counted_value(meter)} = {tempi}{often}"
        heading += f"\n{_GATE}\n{CAUTION_LADDER}"
    table = [COLUMNS, *(_texts(row) for row in timing_rows(timeline, performance))]
    widths = [max(map(len, column)) for column in zip(*table, strict=True)]
    lines = [heading, "", *(_line(row, widths) for row in table)]
    return Export(("\n".join(lines) + "\n").encode())


def _texts(row: TimingRow) -> tuple[str, ...]:
    return tuple(f"{value:.3f}" if name in _SECONDS and value is not None else "" if value is None else str(value)
                 for name, value in zip(COLUMNS, row, strict=True))  # fmt: skip


def _line(row: tuple[str, ...], widths: list[int]) -> str:
    padded = (
        text.ljust(width) if name in _WORDS else text.rjust(width)
        for name, text, width in zip(COLUMNS, row, widths, strict=True)
    )
    return "  ".join(padded).rstrip()
