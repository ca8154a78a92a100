"""`lickwright play`: a file's licks through the loudspeakers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from lickwright import report
from lickwright.cli import choices, recording, screen

if TYPE_CHECKING:
    from lickwright.backends import Options
    from lickwright.cli.sources import Verdict
    from lickwright.diagnostics import Diagnostic
    from lickwright.pipeline import Compilation, CompiledLick


@click.command(short_help="Play it through the loudspeakers.")
@click.argument("path", metavar="PATH")
@click.argument("title", required=False, metavar="[TITLE]")
@click.option(
    "--tempo", callback=choices.tempo, metavar="TEMPO", help="60% of the written tempo, or 72 beats a minute."
)
@recording.playing
def command(path: str, title: str | None, tempo: choices.TempoWish, **more: Any) -> int:
    """Play every lick of a file, or the one called TITLE, through the default sound device.

    Needs the extra lickwright[play]. Ctrl-C stops. In headphones begin with the volume down.
    """
    from lickwright.backends import Options
    from lickwright.cli.choosing import choose, complain

    recording.need_sound()
    options = Options(
        tempo_percent=tempo.percent, tempo_bpm=tempo.bpm, recording=recording.asked(more.get), bars=more["bars"]
    )
    chosen, verdict = choose(path, title)
    for c, lick in chosen:
        if not lick.ok:
            complain(c, [d for d in lick.diagnostics if d.severity == "error"], verdict)
    device = _device() if any(lick.ok for _, lick in chosen) else None
    for c, lick in chosen:
        if lick.ok:
            _play(device, c, lick, options, verdict)
    return verdict.code


def _device() -> Any:
    """The library that speaks to the sound device; UsageError where it is missing, or finds none."""
    try:
        import sounddevice
    except ImportError:
        raise click.UsageError("playing needs sounddevice: pip install 'lickwright[play]'") from None
    except OSError:  # it found no PortAudio, the system's own part of it
        raise click.UsageError(
            "playing needs PortAudio; install it with your system's packages, for example libportaudio2"
        ) from None
    try:
        sounddevice.query_devices(kind="output")
    except (sounddevice.PortAudioError, ValueError):
        raise click.UsageError(
            "there is no sound device to play through; lickwright make --to audio writes a file"
        ) from None
    return sounddevice


def _play(device: Any, c: Compilation, lick: CompiledLick, options: Options, verdict: Verdict) -> None:
    """One lick, from its first click to its last note."""
    from tempfile import TemporaryFile, gettempdir

    from lickwright.backends import Length
    from lickwright.backends.audio import losses, recorded, taken_down
    from lickwright.cli.choosing import complain
    from lickwright.excerpt import NoBars, no_bars
    from lickwright.files import reason
    from lickwright.synth.take import RATE
    from lickwright.synth.wave import BYTES

    assert lick.stages is not None  # or it had errors
    stages = lick.stages
    said: tuple[Diagnostic, ...] = ()
    if options.bars is not None:
        try:
            stages, said = stages.part(options.bars)
        except NoBars as e:
            complain(c, [no_bars(stages.timeline, e)], verdict)
            return
    taken = taken_down(stages, options)
    complain(c, [*said, *losses(stages, options, taken)], verdict)
    aside = Length(taken.end, round(taken.end * RATE) * BYTES)
    if aside.much:
        screen.err(f"{report.safe(lick.title)}: {aside} to put aside; it is played when all of it is ready\n")
    try:
        with TemporaryFile() as file:
            wave = recorded(stages, options, taken, file)
            screen.err(f"playing {report.safe(lick.title)}, {taken.end:.0f} seconds; Ctrl-C stops\n")
            with device.OutputStream(RATE, channels=2, dtype="float32") as stream:
                for piece in wave.pieces():
                    stream.write(piece.T.copy())
    except device.PortAudioError as e:
        screen.err(f"error: the sound device gave up: {report.safe(str(e))}\n")
        verdict.add(screen.Exit.FILE)
    except OSError as e:
        screen.err(f"error: {reason(e)} in the folder for temporary files, {report.safe(gettempdir())}\n")
        verdict.add(screen.Exit.FILE)
