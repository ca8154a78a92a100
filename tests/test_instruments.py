"""The table of instruments: a new row is all that a new sound takes."""

from __future__ import annotations

import io
import re
from pathlib import Path

import mido
import numpy as np
import pytest
import soundfile

from lickwright.compiler import compile_text
from lickwright.hand.string_tension import is_wound
from lickwright.music.instruments import INSTRUMENTS, InstrumentRow
from lickwright.music.tuning import parse_tuning
from lickwright.settings.fields import BY_NAME

ROOT = Path(__file__).parents[1]
LICK = 'key A minor\nsound {}\nlick "Barn door"\n| G5 G7 B8^10 - e5 - D5h7 ||\n'


@pytest.fixture
def hollow(monkeypatch: pytest.MonkeyPatch) -> str:
    """A new row: a jazz guitar with flat-wound strings."""
    guitar = INSTRUMENTS["clean"].guitar._replace(room=-23.0, edge=0.001)
    monkeypatch.setitem(INSTRUMENTS, "hollow", InstrumentRow("hollow", 26, "acoustic", guitar))
    return "hollow"


def test_a_new_row_is_a_choice_of_the_field(hollow: str) -> None:
    (lick,) = compile_text(LICK.format(hollow)).licks
    assert lick.ok and lick.timeline is not None and lick.timeline.settings.sound == hollow
    (wrong,) = [d for d in compile_text(LICK.format("holow")).diagnostics if d.code == "L121"]
    assert "bass, hollow; did you mean hollow?" in wrong.message
    assert BY_NAME["sound"].parse(hollow) == hollow


def test_a_new_row_has_its_midi_program_and_strings(hollow: str) -> None:
    (lick,) = compile_text(LICK.format(hollow)).licks
    file = mido.MidiFile(file=io.BytesIO(lick.emit("midi").data))
    assert {m.program for track in file.tracks for m in track if m.type == "program_change"} == {26}
    assert lick.timeline is not None
    strings = lick.timeline.settings.instrument.strings
    assert strings == "acoustic" and is_wound(parse_tuning("standard"), strings, 3)


def test_a_new_row_is_heard(hollow: str) -> None:
    waves = []
    for name in (hollow, "clean"):
        (lick,) = compile_text(LICK.format(name)).licks
        waves.append(soundfile.read(io.BytesIO(lick.emit("audio").data), dtype="float32")[0])
    assert waves[0].shape == waves[1].shape
    assert np.abs(waves[0] - waves[1]).max() > 0.02


@pytest.mark.parametrize(("page", "words"), [("grammar/reference.md", r"\*\*`sound`\*\* is "), ("README.md", "among ")])
def test_the_pages_name_every_instrument(page: str, words: str) -> None:
    listed = re.search(rf"{words}((?:`[a-z]+`(?:, | or | and )?)+)", (ROOT / page).read_text("utf-8"))
    assert listed is not None and re.findall("`([a-z]+)`", listed[1]) == list(INSTRUMENTS)
