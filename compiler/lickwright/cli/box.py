"""`lickwright box`: a scale's boxes, a chord's shapes and arpeggios on the neck, or where the licks of a file lie."""

from __future__ import annotations

import sys

import click

from lickwright.cli import option_types, terminal
from lickwright.cli.option_pairs import first_given_except, refuse
from lickwright.core.destination import Seal
from lickwright.music.fretboard import MAX_CAPO, MAX_FRET, USUAL_FRETS

_SEAL = Seal(b"<!-- lickwright box ", b" -->\n")  # the last line of a picture

_HELP = """Draw a scale's boxes or a chord on the neck, or find the key and box of a lick.

\b
  lickwright box "A minor pentatonic"         all five boxes side by side
  lickwright box "A blues" 1 --show notes     one of them, note names in the dots
  lickwright box "C major" E shape            seven-note scales have shapes
  lickwright box "Am7"                        a chord, as one hand holds it
  lickwright box "A minor arpeggio" 1         its notes one by one, in a box
  lickwright box "A minor triads"             on three strings, each inversion
  lickwright box "A blues" 1 --svg box1.svg   a picture to print
  lickwright box --for porch.lick             key, scale and box of each lick

BOX is what the notation's box line takes: 1 to 5, several (1 2), a shape, open,
frets 5-8, any (the whole neck); "at 12" after it for another octave.

With --for FILE, a title after it picks one lick. Key, scale and box are worked
out from its notes and chords, whatever key the lick declares.
"""


@click.command(help=_HELP)
@click.argument("words", nargs=-1, metavar="SCALE|CHORD [BOX]")
@click.option(
    "--for", "path", metavar="FILE", help="Find the key, scale and box of the licks in FILE, instead of drawing."
)
@click.option(
    "--show",
    type=option_types.OneOf("degrees", "notes", "fingers"),
    default="degrees",
    show_default=True,
    help="What to write in the dots.",
)
@click.option("--svg", "picture", metavar="FILE", help="Write a picture instead of text; - for standard output.")
@click.option(
    "--tuning",
    default="standard",
    show_default=True,
    metavar="TUNING",
    help="The name of a tuning, or its pitches from low to high.",
)
@click.option(
    "--capo", type=click.IntRange(0, MAX_CAPO), default=0, help="The fret of the capo, from which frets are counted."
)
@click.option(
    "--frets",
    type=click.IntRange(1, MAX_FRET),
    default=USUAL_FRETS,
    show_default=True,
    help="How many frets the neck has.",
)
@click.option(
    "--left-handed", is_flag=True, help="For a left-handed guitar: mirrored, with the headstock on the right."
)
@click.option(
    "--numbering",
    type=option_types.OneOf("relative", "tonic"),
    default="relative",
    show_default=True,
    help="How major boxes are counted.",
)
@option_types.width_option()
@option_types.overwrite_option("Let --svg replace a file that is not Lickwright's own.")
def command(
    words: tuple[str, ...],
    path: str | None,
    show: str,
    picture: str | None,
    tuning: str,
    capo: int,
    frets: int,
    left_handed: bool,
    numbering: str,
    width: int | None,
    overwrite: bool,
) -> int:
    """Its help is `_HELP`, since it shows examples."""
    if path is not None:
        if option := first_given_except(("words", "path")):
            raise click.UsageError(f"--for finds a lick's key and box and draws nothing: leave out {option}")
        from lickwright.cli.key_and_box_view import show_keys_and_boxes

        return show_keys_and_boxes(path, " ".join(words) or None)
    refuse(not words, 'a scale is missing: write "A minor pentatonic", for example, or --for and a file')
    refuse(
        picture is not None and width is not None,
        "--width is for text, and --svg draws a picture: leave one of them out",
    )
    refuse(overwrite and picture is None, "--overwrite goes with --svg")
    from lickwright.cli.box_words import draw
    from lickwright.diagram import DiagramOptions, diagram_svg, diagram_text

    try:
        diagrams = draw(words[0], words[1:], tuning, DiagramOptions(frets, numbering, show, capo, left_handed))
    except ValueError as e:
        raise click.UsageError(str(e)) from None
    if picture is None:
        terminal.out(diagram_text(diagrams, width or terminal.columns(sys.stdout, 80, most=200)))
        return terminal.Exit.FINE
    from lickwright.cli.single_output import save_output

    with terminal.handle_interrupts():
        return save_output(picture, diagram_svg(diagrams).encode("utf-8"), _SEAL, overwrite, ())
