"""Our recording against a general SoundFont player on our own MIDI file: `python tests/bench/sound_shell.py` (half a minute).

Wants the programs `fluidsynth` and a General MIDI SoundFont (Debian: fluidsynth, timgm6mb-soundfont); the time is that of whole commands, ours installed in an
environment of its own as users have it. Pitch is that of single notes and of a bend where it stays, by YIN on both recordings.
"""

from __future__ import annotations

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

from lickwright.pipeline import compile_text  # noqa: E402
from sound_measure import cents, hertz, yin  # noqa: E402

ROOT = Path(__file__).parents[2]
ROUNDS = 7
NINE_SECONDS = """tempo 100
sound lead
lick "Nine"
| e8 e5 B8^10 -r p5 G7~-- | D7 G5h7 e5&B8^full - (rake: D G B e8~) - . |
| A7 D5 D7 G5 G7 B5 B8 e5 | E5&A7&D7&G6&B5&e5~ - - - - - - - ||
"""
SINGLE = (
    'tempo 60\nlick "Single"\n| E5 - - - A3 - - - | D7 - - - G9 - - - | B8^10 - - - e12 - - - | e5 - - - e19 - - - ||\n'
)
PITCHES = (45, 48, 57, 64, 69, 76, 69, 83)  # of its notes, two seconds each


def timed(command: list[str]) -> float:
    start = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - start


def off(path: Path) -> list[float]:
    """Cents that each note of `SINGLE` is off, a second and a half into it."""
    wave, rate = soundfile.read(path)
    mono = wave.mean(axis=1)
    return [cents(yin(mono, rate, 2 * n + 1.2, hertz(pitch)), hertz(pitch)) for n, pitch in enumerate(PITCHES)]


def main() -> None:
    fonts = sorted(Path("/usr/share/sounds/sf2").glob("*.sf2"), key=lambda font: font.stat().st_size)
    if shutil.which("fluidsynth") is None or not fonts:
        sys.exit("this wants fluidsynth and a SoundFont in /usr/share/sounds/sf2")
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
            theirs = [timed(_fluid(font, place / "nine.mid", place / "f.wav")) for font in fonts]
            if n == 0:
                measured: list[tuple[float, list[float]]] = []
            else:
                measured.append((ours, theirs))
        info = soundfile.info(place / "out1" / "nine" / "nine.wav")
        print(f"whole command, a lick of {info.duration:.1f} s: {median(a for a, _ in measured):.2f} s")
        for k, font in enumerate(fonts):
            ratio = median(a / b[k] for a, b in measured)
            print(
                f"  against {font.name}, {median(b[k] for _, b in measured):.2f} s: {ratio:.1f} times (goal: at most 6)"
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
            subprocess.run(_fluid(font, place / "single.mid", place / "f.wav"), check=True, capture_output=True)
            theirs_off = [abs(value) for value in off(place / "f.wav")]
            ratio = (sum(ours_off) / len(ours_off)) / (sum(theirs_off) / len(theirs_off))
            print(
                f"  {font.name}: {max(theirs_off):.2f} at most, {sum(theirs_off) / len(theirs_off):.2f} on average: ours is {ratio:.3f} of it (goal: 0.1)"
            )


def _fluid(font: Path, midi: Path, wav: Path) -> list[str]:
    settings = ["-ni", "-R", "0", "-C", "0", "-g", "0.8", "-r", "48000"]
    return ["fluidsynth", *settings, "-F", str(wav), str(font), str(midi)]


if __name__ == "__main__":
    main()
