"""How fast, as ratios measured in one run: `python tests/bench/speed.py` (about a minute; needs the `dev` extra).

Each line compares our work with the bare cost of the library under it, the two taken turn by turn; the figure is the median of the
paired ratios. The first column of times is for this machine only. Start-up is measured on an installed copy, as users have it.
"""

from __future__ import annotations

import gc
import io
import os
import resource
import subprocess
import sys
import tempfile
import time
import venv
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from statistics import median
from typing import Any

import mido
from lark import Lark

from lickwright.checks import check_timeline
from lickwright.compiler import Compilation, compile_text
from lickwright.core.source import Source
from lickwright.export import LoweredLick, Options, midi, tab, timing
from lickwright.export.midi.bend_shapes import shared_bend_shape
from lickwright.notation.syntax import lark_parser, parse_source, parse_text
from lickwright.timeline.build import build_timeline

ROOT = Path(__file__).parents[2]
SAMPLES = [path.read_text("utf-8") for path in sorted(ROOT.glob("samples/**/*.lick"))]
FINE = Lark((Path(__file__).parent / "fine.lark").read_text("utf-8"), parser="lalr")
OPTIONS = Options()
ROUNDS = 9
ALONE = {
    name: value for name, value in os.environ.items() if name != "PYTHONPATH"
}  # or a checkout's files would be measured


def cpu(work: Callable[[], object]) -> float:
    """Seconds of this process's own time."""
    start = time.process_time()
    work()
    return time.process_time() - start


def paired(ours: Callable[[], object], bare: Callable[[], object], rounds: int = ROUNDS) -> tuple[float, float, float]:
    """Median seconds of each, and the median of bare/ours."""
    pairs = [(cpu(ours), cpu(bare)) for _ in range(rounds)]
    return median(a for a, _ in pairs), median(b for _, b in pairs), median(b / a for a, b in pairs)


def show(what: str, ours: str, bare: str, ratio: float, goal: str) -> None:
    print(f"{what:<46} {ours:>16} {bare:>16} {ratio:>7.2f}  {goal}")


# --- the parts ---------------------------------------------------------------------------------------------------


def parsing() -> None:
    licks = sum(len(compile_text(text).licks) for text in SAMPLES)

    def nodes() -> None:
        for text in SAMPLES:
            parse_source(Source("-", text))

    def trees() -> None:
        for text in SAMPLES:
            parse_text(text)

    for what, ours, bare, goal in (
        ("text to tree: Lark's, a terminal a character", trees, FINE.parse, ">= 7"),
        ("text to nodes: Lark's tree, the same grammar", nodes, FINE.parse, ">= 5"),
        ("text to tree: Lark's, with our own grammar", trees, lark_parser().parse, "bare cost"),
    ):
        a, b, ratio = paired(ours, lambda bare=bare: [bare(text) for text in SAMPLES])  # type: ignore[misc]
        show(what, f"{a / licks * 1e6:.0f} us/lick", f"{b / licks * 1e6:.0f} us/lick", ratio, goal)


def midi_bytes(compiled: list[LoweredLick]) -> None:
    """As a library whose licks bend alike, and as one of which no two bends are alike: each lick at a tempo of its own, no memory of bends."""
    tempos = [Options(tempo_bpm=Fraction(6000 + 37 * n, 100)) for n in range(len(compiled))]
    for what, options, forgets in (
        ("MIDI: mido building and saving the same events", [OPTIONS] * len(compiled), False),
        ("  the same, no two bends alike", tempos, True),
    ):
        asked = list(zip(compiled, options, strict=True))
        events = [_mido_events(midi.emit(*one).data) for one in asked]

        def ours(asked: list[tuple[LoweredLick, Options]] = asked, forgets: bool = forgets) -> None:
            if forgets:
                shared_bend_shape.cache_clear()
            for stages, wanted in asked:
                midi.emit(stages, wanted)

        a, b, ratio = paired(ours, lambda events=events: list(map(_save_by_mido, events)))  # type: ignore[misc]
        n = len(compiled)
        show(what, f"{a / n * 1e6:.0f} us/lick", f"{b / n * 1e6:.0f} us/lick", ratio, ">= 5" if forgets else ">= 11")


def _mido_events(data: bytes) -> list[list[tuple[Any, str, dict[str, Any]]]]:
    """The events of a file by track: class, type and values."""
    file = mido.MidiFile(file=io.BytesIO(data), charset="utf-8")
    return [
        [(type(m), m.type, {k: v for k, v in vars(m).items() if k != "type"}) for m in track] for track in file.tracks
    ]


def _save_by_mido(tracks: list[list[tuple[Any, str, dict[str, Any]]]]) -> None:
    made = mido.MidiFile(type=1, ticks_per_beat=960, charset="utf-8")
    for track in tracks:
        made.tracks.append(mido.MidiTrack(make(kind, **values) for make, kind, values in track))
    made.save(file=io.BytesIO())


def big_file() -> str:
    """300 licks in one file: the samples' again and again, each under its own title and with its file's fields."""
    blocks: list[str] = []
    while len(blocks) < 300:
        for text in SAMPLES:
            head, *licks = text.split('\nlick "')
            fields = [line for line in head.splitlines() if line and not line.startswith(("#", "notation"))]
            for lick in licks:
                title, body = lick.split('"', 1)
                own = {line.split()[0] for line in body.split("\n|")[0].splitlines() if line.strip()}
                kept = "\n".join(line for line in fields if line.split()[0] not in own)
                blocks.append(f'lick "{title} {len(blocks)}"\n{kept}{body}\n')
    return "\n".join(blocks[:300])


def whole() -> Compilation:
    text = big_file()

    def everything() -> None:
        for lick in compile_text(text).licks:
            for name in ("tab", "midi", "timing"):
                lick.emit(name, OPTIONS)

    everything()
    times = [cpu(everything) for _ in range(5)]
    compiled = compile_text(text)
    notes = sum(len(lick.timeline.sounds) for lick in compiled.licks if lick.timeline)
    assert all(lick.ok for lick in compiled.licks), [d for d in compiled.diagnostics if d.severity == "error"][:3]
    best = min(times)
    print(f"300 licks ({notes / 300:.0f} notes each) to tab, MIDI and timing sheet: {median(times) / 0.3:.2f} ms a lick "
          f"(best {best / 0.3:.2f}), {notes / median(times) / 1000:.1f} k notes/s   goal <= 1.7 ms a lick")  # fmt: skip
    return compiled


def stages(compiled: Compilation) -> None:
    """Where the time goes."""
    source = compiled.source
    book, _ = parse_source(source)
    n = len(book.licks)
    timelines = [lick.timeline for lick in compiled.licks if lick.timeline]
    made = [LoweredLick(timeline) for timeline in timelines]

    def fresh(lower: Callable[[LoweredLick], object]) -> Callable[[], object]:
        return lambda: [lower(LoweredLick(timeline)) for timeline in timelines]

    for stage in made:
        stage.grid(), stage.performance(OPTIONS)
    rows: list[tuple[str, Callable[[], object]]] = [
        ("parse", lambda: parse_source(source)),
        ("resolve", lambda: [build_timeline(lick, book, source) for lick in book.licks]),
        ("check", lambda: [check_timeline(timeline) for timeline in timelines]),
        ("layout", fresh(lambda stage: stage.grid())),
        ("perform", fresh(lambda stage: stage.performance(OPTIONS))),
        ("tab", lambda: [tab.emit(stage, OPTIONS) for stage in made]),
        ("MIDI", lambda: [midi.emit(stage, OPTIONS) for stage in made]),
        ("timing", lambda: [timing.emit(stage, OPTIONS) for stage in made]),
    ]
    print(
        "  of which, us a lick: "
        + ", ".join(f"{name} {median(cpu(work) for _ in range(3)) / n * 1e6:.0f}" for name, work in rows)
    )


def start_up() -> None:
    """Whole commands against importing the two libraries that they stand on, in a clean environment with compiled files."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        venv.create(home / "v", with_pip=True, symlinks=True)
        python = home / "v/bin/python"
        subprocess.run([python, "-m", "pip", "install", "-q", "--no-warn-script-location", ROOT], check=True)
        (home / "one.lick").write_text('key A minor\n\nlick "One"\nbox 1\n| e8 e5 B8^10 -r p5 G7~-- |\n', "utf-8")
        lickwright = python.with_name("lickwright")
        bare = [python, "-c", "import click, lark"]
        for what, arguments, goal in (
            ("cold check", ["check", str(home / "one.lick")], "<= 1.35 (ours/bare)"),
            ("--help", ["--help"], "<= 1.0 (ours/bare)"),
            ("why L301", ["why", "L301"], "<= 1.0 (ours/bare)"),
        ):
            pairs = [(child_cpu([lickwright, *arguments]), child_cpu(bare)) for _ in range(15)]
            a, b = median(a for a, _ in pairs), median(b for _, b in pairs)
            ratio = median(a / b for a, b in pairs)
            show(f"{what}: python -c 'import click, lark'", f"{a * 1000:.0f} ms", f"{b * 1000:.0f} ms", ratio, goal)


def child_cpu(command: list[str | Path]) -> float:
    """Seconds of processor time that a command takes."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=ALONE)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


def main() -> None:
    print(f"Python {sys.version.split()[0]}, {len(SAMPLES)} sample files")
    print(f"{'against':<46} {'ours':>16} {'bare':>16} {'ratio':>7}  goal")
    parsing()
    compiled = whole()
    midi_bytes([lick.lowered for lick in compiled.licks if lick.lowered])
    stages(compiled)
    start_up()


if __name__ == "__main__":
    gc.set_threshold(50_000, 20)  # as the command line does
    main()
