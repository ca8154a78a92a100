"""A judge that tuned nothing: `python tests/bench/sound_blind.py` asks a music tagger what it hears (some minutes).

It hears the same open strings and the same phrases from real guitars, from ours, and from instruments of a General MIDI SoundFont, guitars and others,
all equally loud, and says how likely it holds each of its words. Printed are how likely it is to hear a guitar, and how often that is likelier than any
other instrument. BENCH_TAGGER is the Python in which `sound_tagger.py` can run; BENCH_MIDI_PLAYER and BENCH_SOUNDFONTS as in `sound_shell.py`.
Where one lacks, that is said, and nothing is measured. `--fetched DIR` as in `sound_real.py`.
"""

from __future__ import annotations

import argparse
import io
import json
import shlex
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from os import environ
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

import mido  # noqa: E402
import numpy as np  # noqa: E402
import sound_real as table  # noqa: E402
import soundfile  # noqa: E402

from lickwright import compile_file  # noqa: E402
from lickwright.export import Options  # noqa: E402
from lickwright.export.audio import plan_recording  # noqa: E402
from lickwright.synth.mixdown import mix_down  # noqa: E402
from sound_realism import Wave  # noqa: E402

RATE, SECONDS = table.RATE, (4.0, 9.0)  # of a string and of a phrase
LEVEL = 0.08  # root mean square
SAMPLES = Path(__file__).parents[2] / "samples"
PHRASES = ("Amazing Grace", "Clementine", "Greensleeves", "Harvest dust", "Night tram")
GUITARS = {
    "acoustic": 25,
    "clean": 27,
    "nylon": 24,
    "crunch": 29,
    "lead": 30,
}  # ours, and the General MIDI program beside it
OTHERS = {
    "piano": 0, "electric piano": 4, "harpsichord": 6, "vibraphone": 11, "organ": 16, "violin": 40, "harp": 46, "flute": 73,
    "sitar": 104, "banjo": 105, "koto": 107,
}  # fmt: skip
INSTRUMENTS = ("guitar", "strings", "piano", "violin", "harpsichord", "flute", "sitar", "harp", "cello", "synth", "drums")  # fmt: skip
NEAR = 0.12  # that ours may be less like a guitar than the SoundFont's recorded one


class Clips:
    """Sounds as files, all equally loud."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.kinds: list[tuple[str, str]] = []  # (kind, "string" or "phrase") of each file, by its number

    def add(self, kind: str, what: str, wave: Wave) -> None:
        wave = wave[: int(SECONDS[what == "phrase"] * RATE)]
        wave = np.pad(wave, (0, max(0, 4 * RATE - len(wave))))
        wave = wave * (LEVEL / np.sqrt(np.mean(wave**2)))
        soundfile.write(self._folder / f"{len(self.kinds)}.wav", np.clip(wave, -1, 1), RATE)
        self.kinds.append((kind, what))

    def judged(self, python: str) -> dict[tuple[str, str], list[Mapping[str, float]]]:
        """Return what the tagger hears, by kind."""
        files = [str(self._folder / f"{n}.wav") for n in range(len(self.kinds))]
        tagger = Path(__file__).with_name("sound_tagger.py")
        said = subprocess.run([python, str(tagger), *files], check=True, capture_output=True, text=True).stdout
        found: dict[tuple[str, str], list[Mapping[str, float]]] = {}
        for number, words in json.loads(said.splitlines()[-1]).items():
            found.setdefault(self.kinds[int(number)], []).append(words)
        return found


def on_program(midi: bytes, program: int, player: list[str], font: Path) -> Wave:
    """Return a MIDI file as another instrument of the SoundFont plays it."""
    file = mido.MidiFile(file=io.BytesIO(midi))
    for track in file.tracks:
        for message in track:
            if message.type == "program_change":
                message.program = program
    with tempfile.TemporaryDirectory() as name:
        path, wav = Path(name) / "one.mid", Path(name) / "one.wav"
        file.save(path)
        subprocess.run([word.format(font=font, midi=path, wav=wav) for word in player], check=True, capture_output=True)
        return soundfile.read(wav)[0].mean(axis=1)


def fill(clips: Clips, place: Path, player: list[str], font: Path) -> None:
    """Add every sound."""
    for guitar in table.TUNED:
        for one in table.recorded(place, guitar):
            clips.add("real acoustic", "string", one.wave)
    for name in GUITARS:
        for one in table.ours(name):
            clips.add(f"our {name}", "string", one.wave)
        for one in table.soundfont_strings(name) or ():
            clips.add(f"font {name}", "string", one.wave)
    for lick in (lick for path in sorted(SAMPLES.rglob("*.lick")) for lick in compile_file(path).licks):
        if lick.title not in PHRASES or lick.lowered is None or lick.timeline is None:
            continue
        plan = plan_recording(lick.lowered, Options())
        for name, program in GUITARS.items():
            guitar = table.made.INSTRUMENTS[name].guitar
            wave = mix_down(plan, lick.timeline.settings.tuning.sounding, guitar, io.BytesIO(), RATE)
            clips.add(f"our {name}", "phrase", np.concatenate(list(wave.pieces()), axis=1).mean(axis=0))
            clips.add(f"font {name}", "phrase", on_program(lick.midi(), program, player, font))
        for name, program in OTHERS.items():
            clips.add(f"font {name}", "phrase", on_program(lick.midi(), program, player, font))


def rows(heard: Mapping[tuple[str, str], list[Mapping[str, float]]]) -> Iterator[tuple[str, str, float, float]]:
    """Yield kind, what, how likely a guitar is, and how often it is the likeliest instrument."""
    for (kind, what), clips in heard.items():
        likely = float(np.mean([words["guitar"] for words in clips]))
        first = float(np.mean([max(INSTRUMENTS, key=words.__getitem__) == "guitar" for words in clips]))
        yield kind, what, likely, first


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fetched", type=Path, help="where fetched recordings stay")
    asked = parser.parse_args()
    python, player = environ.get("BENCH_TAGGER", ""), shlex.split(environ.get("BENCH_MIDI_PLAYER", ""))
    fonts = sorted(Path(environ.get("BENCH_SOUNDFONTS", "/nowhere")).glob("*.sf2"))
    if not python or not player or not fonts:
        print("not measured: BENCH_TAGGER, BENCH_MIDI_PLAYER and BENCH_SOUNDFONTS must say what judges and what plays")
        return
    with tempfile.TemporaryDirectory() as name:
        folder = asked.fetched or Path(name)
        folder.mkdir(parents=True, exist_ok=True)
        place = table.fetched(folder)
        if place is None:
            print("not measured: the recordings of real guitars cannot be had")
            return
        clips = Clips(Path(name))
        fill(clips, place, player, fonts[-1])
        found = list(rows(clips.judged(python)))
    likely = {(kind, what): value for kind, what, value, _ in found}
    missed = 0
    for kind, what, value, first in sorted(found, key=lambda row: (row[1], -row[2])):
        owner, _, name = kind.partition(" ")
        goal = likely[f"font {name}", what] - NEAR if owner == "our" else 0.0
        missed += value < goal
        said = f"   goal {goal:.2f}{'' if value >= goal else '  MISSED'}" if owner == "our" else ""
        print(f"{what:<7} {kind:<20} guitar {value:.2f}, likeliest of all in {first:4.0%}{said}")
    print("all goals met" if not missed else f"{missed} goals missed")


if __name__ == "__main__":
    main()
