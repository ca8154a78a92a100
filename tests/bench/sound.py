"""How good the sound is, against its goals: `python tests/bench/sound.py`, about a minute; `--pictures DIR` draws spectrograms beside real ones instead.

Every figure is measured by `sound_measure` on what the synthesis gives; the tests hold smaller sets to the same goals.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

import sound_goals as goals  # noqa: E402
import sound_recordings as made  # noqa: E402
from lickwright.notation.techniques import Damping  # noqa: E402
from sound_measure import lufs, normalize_samples, true_peak  # noqa: E402

Row = tuple[str, str, str, bool]


def rows() -> Iterator[Row]:
    """What was measured, the value, the goal, and whether it is met."""
    for rate in (44_100, 48_000):
        cents = goals.pitch(rate, range(25))
        yield f"pitch, frets 0 to 24 of six strings, {rate} Hz", f"{cents:.4f} cents", "0.5", cents <= 0.5
    for name in made.INSTRUMENTS:
        cents = goals.heard_pitch(name, (0, 5, 12, 17, 24))
        yield f"  both planes together, {name}", f"{cents:.2f} cents", "0.5", cents <= 0.5
    staying, moving, squares, count = goals.bends(0.01)
    yield f"where a bend of a sample has come to, {count} places", f"{staying:.3f} cents", "1", staying <= 1
    yield (
        "  while it moves, worst; root mean square",
        f"{moving:.2f}; {squares:.2f}",
        "5; 2",
        moving <= 5 and squares <= 2,
    )
    for frets, goal in (((0, 3, 7, 12), 10), ((15, 19, 24), 25)):
        off = 100 * goals.partials(frets)
        yield f"decay of partials, frets {frets[0]} to {frets[-1]}", f"{off:.1f} % off", f"{goal} %", off <= goal
    for name in goals.CHANGES:
        rough, off = goals.change(name, 5)
        if name == "slide":
            yield "slide: second difference", f"{rough:.2f}", "4", rough <= 4
        else:
            yield f"{name}: second difference; level", f"{rough:.2f}; {off:.2f} dB", "4; 1.5", rough <= 4 and off <= 1.5
    rough, off = goals.repick(4)
    yield "picked again: second difference; level", f"{rough:.2f}; {off:.2f} dB", "4; 1.5", rough <= 4 and off <= 1.5
    for damping in (Damping.NONE, Damping.SHORT, Damping.PALM):
        rough = goals.ending(damping, 4)
        yield f"a note ends ({damping.value}): second difference", f"{rough:.2f}", "1.5", rough <= 1.5
    tones = (82.41, 147.3, 330.7, 659.3, 987.8, 1318.5)
    worst = max(made.alias(name, tone, 2.0) for name in ("crunch", "lead") for tone in tones)
    yield "alias after the cabinet, 82 to 1319 Hz, driven hardest", f"{worst:.0f} dB", "-80", worst <= -80
    worst = goals.harmonics((2, 3, 4, 5, 7))
    yield "unwanted partials of natural harmonics", f"{worst:.0f} dB", "-30", worst <= -30
    off, peak, mean = made.recordings()
    yield "samples: loudness off -16 LUFS", f"{off:.2f} LU", "0.5", off <= 0.5
    yield "  true peak; mean", f"{peak:.2f} dBTP; {mean:.0e}", "-1; 1e-04", peak <= -1 and mean < 1e-4
    yield from _hostile()
    late, count = goals.onsets()
    yield f"onset against the performance, {count} strokes", f"{late:.2f} ms", "3", late <= 3
    loop, pieces = goals.against_plain_loop(), goals.pieces()
    yield "a period at a time against the plain loop", f"{loop:.0e}", "1e-09", loop <= 1e-9
    modes = max(goals.modes_against_the_loop(*place)[0] for place in ((64, 0), (64, 12), (40, 0), (28, 3)))
    yield "the sum of a string's modes against its loop", f"{modes:.0e}", "1e-08", modes <= 1e-8
    yield "in odd pieces against in one", f"{pieces:.0e}", "1e-12", pieces <= 1e-12
    for name in made.INSTRUMENTS:
        apart = made.loudest_string(name, range(0, 13, 2))
        yield f"loudest to softest string, {name}", f"{apart:.1f} LU", "3", apart <= 3
    more = made.memory(600, "lead") - made.memory(40, "lead")
    yield "memory, 10 min against 40 s (the output is 215 MB more)", f"{more:.1f} MB", "23", more <= 23
    for title in ("Washing line", "Kettle on the stove", "Weathervane", "Sixpence rain", "Amazing Grace"):
        times = made.speed(title)
        yield f"rendered and levelled: {title}", f"{times:.0f} x real time", "80", times >= 80


def _hostile() -> Iterator[Row]:
    off, peak = 0.0, -200.0
    for _, notes, name, seconds in made.hostile():
        wave = normalize_samples(made.rendered(notes, made.INSTRUMENTS[name].guitar, seconds), made.RATE)
        off, peak = max(off, abs(lufs(wave) + 16) if notes else 0.0), max(peak, true_peak(wave))
    yield "hostile licks: loudness; true peak", f"{off:.2f} LU; {peak:.2f} dBTP", "0.5; -1", off <= 0.5 and peak <= -1


def main() -> None:
    if "--pictures" in sys.argv[1:]:
        import sound_real

        sound_real.main()
        return
    missed = 0
    for what, value, goal, met in rows():
        missed += not met
        print(f"{what:<56} {value:>22}   goal {goal:<8} {'' if met else 'MISSED'}".rstrip(), flush=True)
    print("all goals met" if not missed else f"{missed} goals missed")


if __name__ == "__main__":
    main()
