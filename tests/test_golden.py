"""What every sample comes to at each stage, as it was last read by eye: tests/golden/. `python tests/test_golden.py` writes it anew.

Text is compared whole. A MIDI file is shown as mido reads it: a line a note, the bends of a string on one line. A score in MusicXML is shown a line a note.
"""

from __future__ import annotations

import io
import textwrap
import xml.etree.ElementTree as ET
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path

import mido
import pytest

from dumps import performance_text, timeline_text
from lickwright.compiler import compile_file
from lickwright.compiler.compilation import CompiledLick
from lickwright.export import EXPORTS, Options, SheetRequest
from read_pdf import printed_pages

HERE = Path(__file__).parent
SAMPLES = sorted((HERE.parent / "samples").glob("**/*.lick"))
GOLDEN = HERE / "golden"


def counted(lick: CompiledLick) -> str:
    assert lick.timeline is not None
    return timeline_text(lick.timeline)


def sounded(lick: CompiledLick) -> str:
    assert lick.lowered is not None
    return performance_text(lick.lowered.performance(Options()))


def midi_text(data: bytes) -> str:
    file = mido.MidiFile(file=io.BytesIO(data), charset="utf-8")
    lines = [f"type {file.type}, {file.ticks_per_beat} ticks"]
    for n, track in enumerate(file.tracks):
        lines.append(f"track {n}")
        tick, bends = 0, []
        for message in track:
            tick += message.time
            if message.type == "pitchwheel":
                bends.append(f"{tick}:{message.pitch}")
                continue
            shown = " ".join(
                f"{key}={value}" for key, value in message.dict().items() if key not in ("time", "type", "channel")
            )
            lines.append(f"{tick:7} {message.type} {shown}")
        lines += [f"bends {' '.join(bends)}"] if bends else []
    return "\n".join(lines) + "\n"


def score_text(data: bytes) -> str:
    """A line for each thing in a measure but the notes of the first staff, which are those of the second."""
    root = ET.fromstring(data)
    lines = [_flat(child) for child in root if child.tag != "part"]
    for measure in root.iterfind("part/measure"):
        lines.append(f"measure {measure.get('number')}")
        lines += [f"  {_flat(child)}" for child in measure if child.findtext("staff") != "1" or child.tag != "note"]
    return "\n".join(lines) + "\n"


def _flat(element: ET.Element) -> str:
    words = [element.tag, *(f"{name}={value}" for name, value in element.items())]
    words += [element.text.strip()] if element.text and element.text.strip() else []
    inner = ", ".join(map(_flat, element))
    return " ".join(words) + (f" ({inner})" if inner else "")


def shown(name: str) -> Callable[[CompiledLick], str]:
    def show(lick: CompiledLick) -> str:
        data = lick.emit(name).data
        return READERS[name](data) if name in READERS else data.decode("utf-8")

    return show


READERS = {"midi": midi_text, "musicxml": score_text}


def printed_text(lick: CompiledLick) -> str:
    """What is printed on each page of the sheet, with the count, in reading order."""
    data = lick.emit("sheet", Options(sheet=SheetRequest(count=True))).data
    pages = enumerate(printed_pages(data), 1)
    return "".join(
        f"page {n}\n" + textwrap.fill(" | ".join(texts), 140, initial_indent="  ", subsequent_indent="  ") + "\n"
        for n, texts in pages
    )


# Every back end has its goldens, since they are derived from the table.
STAGES: dict[str, Callable[[CompiledLick], str]] = {
    "counted": counted,
    "sounded": sounded,
    "sheet": printed_text,
    # Sound is measured (test_synth, test_audio), and pages are read by a reader of their own (test_page).
    **{row.name: shown(row.name) for row in EXPORTS if not row.is_audio and row.name not in ("page", "sheet")},
}


# These say again what the timing sheet says, so one sample of each is enough.
ONCE = {"timing-json", "timing-text"}


def kept() -> list[tuple[Path, str]]:
    """The samples and stages that have a golden file."""
    return [(path, stage) for path in SAMPLES for stage in STAGES if stage not in ONCE or path.stem == "slow-blues"]


@cache
def compiled(path: Path) -> Sequence[CompiledLick]:
    return compile_file(path).licks


def golden(path: Path, stage: str) -> str:
    return "\n".join(f"=== {lick.title}\n{STAGES[stage](lick)}" for lick in compiled(path))


def place(path: Path, stage: str) -> Path:
    return GOLDEN / path.parent.name / f"{path.stem}.{stage}.txt"


def test_nothing_golden_is_left_over() -> None:
    there = {file for file in GOLDEN.glob("**/*") if file.is_file()}
    assert there == {place(path, stage) for path, stage in kept()}


@pytest.mark.parametrize(("path", "stage"), kept(), ids=lambda value: value.stem if isinstance(value, Path) else value)
def test_samples_come_to_what_was_read_by_eye(path: Path, stage: str) -> None:
    written = place(path, stage).read_text("utf-8")
    assert golden(path, stage) == written, "if the change is meant, read it and write it anew"


if __name__ == "__main__":
    for path, stage in kept():
        file = place(path, stage)
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(golden(path, stage), "utf-8")
