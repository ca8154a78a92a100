"""`lickwright play`: a file's licks through the loudspeakers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from lickwright.cli import audio_options, option_types, terminal
from lickwright.cli.sound_device import find_sound_device
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.cli.sources import Verdict
    from lickwright.compiler import Compilation, CompiledLick
    from lickwright.core.diagnostics import Diagnostic
    from lickwright.export import Options
    from lickwright.export.option_parsing import TempoRequest

_NO_DEVICE = "there is no sound device to play through; lickwright make --to audio writes a file"


@click.command()
@click.argument("path", metavar="PATH")
@option_types.title_argument()
@option_types.tempo_option("60% of the written tempo, or 72 beats a minute.")
@audio_options.playing_options
def command(path: str, title: str | None, tempo: TempoRequest, **more: Any) -> int:
    """Play every lick of a file, or the one called TITLE, through the default sound device.

    Needs the extra lickwright[play]. Press Ctrl-C to stop. With headphones, start with the volume down.
    """
    from lickwright.cli.select_lick import choose_licks, report_errors
    from lickwright.config.discovery import ProjectConfigs
    from lickwright.export import Options

    audio_options.require_sound()
    project = ProjectConfigs().named(path)
    options = Options(
        tempo_percent=tempo.percent,
        tempo_bpm=tempo.bpm,
        recording=audio_options.requested_audio(more.get, project.sounds if project is not None else {}),
        bars=more["bars"],
    )
    chosen, verdict = choose_licks(path, title)
    for c, lick in chosen:
        if not lick.ok:
            report_errors(c, lick.diagnostics, verdict)
    device = find_sound_device("playing", ("output",), _NO_DEVICE) if any(lick.ok for _, lick in chosen) else None
    for c, lick in chosen:
        if lick.ok:
            _play(device, c, lick, options, verdict)
    return verdict.code


def _play(device: Any, c: Compilation, lick: CompiledLick, options: Options, verdict: Verdict) -> None:
    """Play one lick, from its first click to its last note; the verdict learns of what went wrong."""
    from tempfile import TemporaryFile, gettempdir

    from lickwright.cli.select_lick import report_findings
    from lickwright.core.file_bytes import error_reason
    from lickwright.export import Length
    from lickwright.export.audio import audio_losses, plan_recording, render_samples
    from lickwright.synth.arrangement import RATE
    from lickwright.synth.wave import BYTES
    from lickwright.timeline.excerpt import NoBars, no_bars_finding

    assert lick.lowered is not None  # or it had errors
    stages = lick.lowered
    said: tuple[Diagnostic, ...] = ()
    if options.bars is not None:
        try:
            stages, said = stages.excerpt(options.bars)
        except NoBars as e:
            report_findings(c, [no_bars_finding(stages.timeline, e)], verdict)
            return
    taken = plan_recording(stages, options)
    report_findings(c, [*said, *audio_losses(stages, options, taken)], verdict)
    aside = Length(taken.end, round(taken.end * RATE) * BYTES)
    if aside.is_long:
        terminal.err(f"{console.safe_text(lick.title)}: {aside} to put aside; it is played when all of it is ready\n")
    try:
        with TemporaryFile() as file:
            wave = render_samples(stages, options, taken, file)
            terminal.err(f"playing {console.safe_text(lick.title)}, {taken.end:.0f} seconds; Ctrl-C stops\n")
            with device.OutputStream(RATE, channels=2, dtype="float32") as stream:
                for piece in wave.pieces():
                    stream.write(piece.T.copy())
    except device.PortAudioError as e:
        terminal.err(f"error: the sound device gave up: {console.safe_text(str(e))}\n")
        verdict.add(terminal.Exit.FILE_ERRORS)
    except OSError as e:
        terminal.err(f"error: {error_reason(e)} in the folder for temporary files, {console.safe_text(gettempdir())}\n")
        verdict.add(terminal.Exit.FILE_ERRORS)
