"""Our recording against a general SoundFont player on our own MIDI file: `python tests/bench/sound_shell.py` (half a minute).

Needs a command that plays a MIDI file into a WAV file, in the environment variable BENCH_MIDI_PLAYER, with `{font}`, `{midi}` and `{wav}` where its files go
(without reverb and chorus, at 48,000 Hz), and General MIDI SoundFonts in the folder that BENCH_SOUNDFONTS names. The time is that of whole commands, ours
installed in an environment of its own as users have it. Pitch is that of the first partial, of single notes and of a bend where it stays, in both
recordings: the other partials of a stiff string are sharp, and whatever looks at the whole wave reads cents too much.
"""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import sys
import tempfile
import time
import venv
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parent.parent))

import soundfile  # noqa: E402

from lickwright.compiler import compile_text  # noqa: E402
from sound_measure import cents, first_partial, hertz  # noqa: E402

ROOT = Path(__file__).parents[2]
ROUNDS = 7
NINE_SECONDS = """tempo 100
sound lead
lick "Nine"
| e8 e5 B8^10 -r p5 G7~-- | D7 G5h7 e5&B8^full - (rake: D G B e8~) - . |
| A7 D5 D7 G5 G7 B5 B8 e5 | E5&A7&D7&G6&B5&e5~ - - - - - - - ||
"""
# With two seconds of nothing after each: a string that was let go still sounds for a second, and stands four cents in the way of a note beside it.
SINGLE = """tempo 60
lick "Single"
| E5 - - - . . . . | A3 - - - . . . . | D7 - - - . . . . | G9 - - - . . . . |
| B8^10 - - - . . . . | e12 - - - . . . . | e5 - - - . . . . | e19 - - - . . . . ||
"""
EACH = 4.0  # seconds of its notes with the rest after them
PITCHES = (45, 48, 57, 64, 69, 76, 69, 83)  # of its notes


def timed(command: list[str]) -> float:
    start = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - start


def off(path: Path) -> list[float]:
    """Cents that each note of `SINGLE` is off, a second and a half into it."""
    wave, rate = soundfile.read(path)
    mono = wave.mean(axis=1)
    return [
        cents(first_partial(mono, rate, EACH * n + 1.2, hertz(pitch)), hertz(pitch)) for n, pitch in enumerate(PITCHES)
    ]


def main() -> None:
    folder, words = os.environ.get("BENCH_SOUNDFONTS", ""), shlex.split(os.environ.get("BENCH_MIDI_PLAYER", ""))
    fonts = sorted(Path(folder).glob("*.sf2"), key=lambda font: font.stat().st_size) if folder else []
    if not words or shutil.which(words[0]) is None or not fonts:
        sys.exit(
            "set BENCH_MIDI_PLAYER to a command with {font}, {midi} and {wav}, and BENCH_SOUNDFONTS to a folder of .sf2 files"
        )
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        venv.create(place / "env", with_pip=True)
        python = place / "env" / "bin" / "python"
        subprocess.run([python, "-m", "pip", "install", "-q", f"{ROOT}[audio]"], check=True, capture_output=True)
        for title, text in (("nine", NINE_SECONDS), ("single", SINGLE)):
            (place / f"{title}.lick").write_text(text, "utf-8")
            (place / f"{title}.mid").write_bytes(compile_text(text).licks[0].midi())
        for n in range(ROUNDS + 1):  # the first fills the caches
            out = place / f"out{n}"
            ours_command = [
                str(python.parent / "lickwright"),
                "make",
                str(place / "nine.lick"),
                "--to",
                "audio",
                "--out",
                str(out),
            ]
            ours = timed(ours_command)
            theirs = [timed(_player(font, place / "nine.mid", place / "f.wav")) for font in fonts]
            if n == 0:
                measured: list[tuple[float, list[float]]] = []
            else:
                measured.append((ours, theirs))
        info = soundfile.info(place / "out1" / "nine" / "nine.wav")
        print(f"whole command, a lick of {info.duration:.1f} s: {median(a for a, _ in measured):.2f} s")
        for k, font in enumerate(fonts):
            ratio = median(a / b[k] for a, b in measured)
            print(
                f"  against {font.name}, {median(b[k] for _, b in measured):.2f} s: {ratio:.1f} times (goal: at most 3)"
            )
        subprocess.run(
            [python.parent / "lickwright", "make", place / "single.lick", "--to", "audio", "--out", place / "one"],
            check=True, capture_output=True,
        )  # fmt: skip
        ours_off = [abs(value) for value in off(place / "one" / "single" / "single.wav")]
        print(
            f"pitch of {len(PITCHES)} notes, cents off: {max(ours_off):.3f} at most, {sum(ours_off) / len(ours_off):.3f} on average"
        )
        for font in fonts:
            subprocess.run(_player(font, place / "single.mid", place / "f.wav"), check=True, capture_output=True)
            theirs_off = [abs(value) for value in off(place / "f.wav")]
            ratio = (sum(ours_off) / len(ours_off)) / (sum(theirs_off) / len(theirs_off))
            print(
                f"  {font.name}: {max(theirs_off):.2f} at most, {sum(theirs_off) / len(theirs_off):.2f} on average: ours is {ratio:.3f} of it (goal: 0.1)"
            )


def _player(font: Path, midi: Path, wav: Path) -> list[str]:
    return [word.format(font=font, midi=midi, wav=wav) for word in shlex.split(os.environ["BENCH_MIDI_PLAYER"])]


if __name__ == "__main__":
    main()
