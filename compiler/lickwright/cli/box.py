"""`lickwright box`: a scale's boxes, a chord's shapes and arpeggios on the neck, or where the licks of a file live."""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, TypedDict

import click

from lickwright.cli import option_types, terminal
from lickwright.cli.option_pairs import first_given_except
from lickwright.core.destination import Seal
from lickwright.music.fretboard import MAX_CAPO, MAX_FRET, USUAL_FRETS
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.analysis.key_and_box_finder import Candidate
    from lickwright.compiler import CompiledLick
    from lickwright.music.box import BoxSpec
    from lickwright.music.chord import Chord
    from lickwright.music.pitch import Key
    from lickwright.music.scale import Scale
    from lickwright.music.tuning import Tuning

_RUNNERS_UP = 3
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

With --for, what is written after it is the title of one lick. Key, scale and
box are worked out from its notes and chords, whatever key the lick declares.
"""


@click.command(short_help="Draw a scale's boxes or a chord; find a lick's key and box.", help=_HELP)
@click.argument("words", nargs=-1, metavar="SCALE|CHORD [BOX]")
@click.option("--for", "path", metavar="FILE", help="Say where on the neck the licks of FILE lie, instead of drawing.")
@click.option(
    "--show",
    type=option_types.OneOf("degrees", "notes", "fingers"),
    default="degrees",
    show_default=True,
    help="What to write in the dots.",
)
@click.option("--svg", "picture", metavar="FILE", help="Write a picture instead of text; - for standard output.")
@click.option(
    "--tuning", default="standard", show_default=True, metavar="TUNING", help="Its name, or pitches low to high."
)
@click.option("--capo", type=click.IntRange(0, MAX_CAPO), default=0, help="Its fret; the frets drawn count from it.")
@click.option(
    "--frets", type=click.IntRange(1, MAX_FRET), default=USUAL_FRETS, show_default=True, help="How many the neck has."
)
@click.option("--left-handed", is_flag=True, help="Mirrored: the head of the guitar to the right.")
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
        return _find(path, " ".join(words) or None)
    if not words:
        raise click.UsageError('a scale is missing: write "A minor pentatonic", for example, or --for and a file')
    if picture is not None and width is not None:
        raise click.UsageError("--width is for text, and --svg draws a picture: leave one of them out")
    if overwrite and picture is None:
        raise click.UsageError("--overwrite goes with --svg")
    from lickwright.diagram import box_diagrams, chord_diagrams, diagram_svg, diagram_text

    try:
        spec = _box(*words)
        how: _How = {
            "frets": frets, "numbering": numbering, "shown": show, "capo": capo, "left_handed": left_handed,
        }  # fmt: skip
        chord = _chord(words[0])
        if chord is not None:
            drawn = chord_diagrams(*chord, _tuning(tuning), spec, **how)
        else:
            drawn = box_diagrams(*_scale(words[0], spec), _tuning(tuning), spec, **how)
    except ValueError as e:
        raise click.UsageError(str(e)) from None
    if picture is None:
        terminal.out(diagram_text(drawn, width or min(terminal.columns(sys.stdout, 80), 200)))
        return terminal.Exit.FINE
    from lickwright.cli.single_output import saved

    with terminal.endings():
        return saved(picture, diagram_svg(drawn).encode("utf-8"), _SEAL, overwrite, ())


def _box(name: str, *words: str) -> BoxSpec | None:
    """The box in the words after the name. Raises `ValueError`, with quotes round the name where it was written without."""
    from lickwright.music.box import parse_box

    if not words:
        return None
    try:
        return parse_box(" ".join(words))
    except ValueError:
        parted = _parted([name, *words])
        if parted is None:
            raise
        whole = " ".join(filter(None, (f'"{parted[0]}"', parted[1])))
        raise ValueError(f"put the name in quotes: {whole}") from None


def _parted(words: Sequence[str]) -> tuple[str, str] | None:
    """The name of a scale or chord and the box after it, where words written without quotes are both; None if not."""
    for n in range(len(words), 1, -1):
        name, box = " ".join(words[:n]), " ".join(words[n:])
        try:
            spec = _box(name, box) if box else None
            if _chord(name) is None:
                _scale(name, spec)
        except ValueError:
            continue
        return name, box
    return None


def _tuning(words: str) -> Tuning:
    from lickwright.music.tuning import parse_tuning

    return parse_tuning(words)


class _How(TypedDict):
    """How the neck is and how it is drawn."""

    frets: int
    numbering: str
    shown: str
    capo: int
    left_handed: bool


def _chord(words: str) -> tuple[str, Chord, str] | None:
    """Kind of picture, chord, and its name: of `A minor arpeggio`, `Am triads`, `A minor chord`, or a symbol alone."""
    from lickwright.diagram import KINDS
    from lickwright.music.chord import parse_chord_name

    *base, last = words.split() or [""]
    kind = next((kind for kind in KINDS if last.lower() in (kind, f"{kind}s", kind.removesuffix("s"))), None)
    if kind is None and len(base) == 0 and len(last.rstrip("#b")) > 1:
        try:
            chord = parse_chord_name(last)
        except ValueError:
            return None  # then it is a scale, whose words tell better what is wrong
        return "chord", chord, str(chord)
    if kind is None or not base:
        return None
    chord, name = parse_chord_name(" ".join(base)), " ".join(base)
    return kind, chord, name[:1].upper() + name[1:]


def _scale(words: str, spec: BoxSpec | None) -> tuple[Key, Scale]:
    """`A minor pentatonic`, `A blues`, `D dorian`, `E 1 b3 4 5 b7`: a tonic, then a mode, a scale or degrees.

    A mode alone means what it means in a lick: its seven notes, its pentatonic with a numbered box.
    """
    from lickwright.music.pitch import MODE_ALIASES, MODES, Key, parse_key, parse_note_name
    from lickwright.music.positions import is_minor
    from lickwright.music.scale import default_scale, parse_scale

    words = " ".join(words.split())
    first, _, rest = words.partition(" ")
    first = first[:1].upper() + first[1:].lower()  # "eb locrian" can only mean Eb locrian
    if not rest and re.fullmatch("[A-G][#b]?", first):
        raise ValueError(
            f'"{first}" does not say what: write {first} minor or {first} major for a scale, {first} chord for the chord'
        )
    words = f"{first} {rest}".rstrip()
    if not rest or rest.lower() in (*MODES, *MODE_ALIASES):
        key = parse_key(words)
        return key, default_scale(key, spec is not None and bool(spec.numbers))
    tonic = parse_note_name(first)
    scale = parse_scale(rest, None)
    mode = next((mode for mode, degrees in MODES.items() if degrees == scale.degrees), None)
    return Key(tonic, mode or ("minor" if is_minor(scale) else "major")), scale


# --- where a lick lives ----------------------------------------------------------------------------------------------


def _find(path: str, title: str | None) -> int:
    """The home of every lick in a file, or of the one called `title`. A lick with errors in it is looked at all the
    same where it can be counted; its errors are `check`'s to tell."""
    from lickwright.analysis.key_and_box_finder import find_key_and_box
    from lickwright.cli.sources import Verdict, compiled, find_sources
    from lickwright.core.slugs import same_title

    verdict, whole = Verdict(), Verdict()
    files = [c for _, c in compiled(find_sources([path]), whole)]
    if whole.code == terminal.Exit.INTERNAL:
        verdict.add(whole.code)
    chosen = [lick for c in files for lick in c.licks if title is None or same_title(lick.title, title)]
    if title is not None and not chosen and any(c.licks for c in files):
        from lickwright.cli.select_lick import no_such_lick

        raise no_such_lick(title, path, [lick.title for c in files for lick in c.licks])
    for c in files:
        unread = [d for d in c.diagnostics if d.severity == "error" and (d.code.startswith("L6") or not c.licks)]
        verdict.judge(unread)
        terminal.err(console.format_findings(c.source, unread, terminal.colour(sys.stderr)))
    for n, lick in enumerate(chosen):
        terminal.out("\n" if n else "")
        if lick.timeline is None or lick.timeline.unknown:
            terminal.err(f'"{console.safe_text(lick.title)}" has errors: lickwright check says which\n')
            verdict.add(terminal.Exit.MUSIC)
            continue
        terminal.out(_answer(lick, find_key_and_box(lick.timeline)))
    return verdict.code


def _answer(lick: CompiledLick, homes: tuple[Candidate, ...]) -> str:
    """The best home, what it leaves out, and the runners-up below it."""
    from lickwright.analysis.key_and_box_finder import is_close_call, relative_candidate

    name = f'"{console.safe_text(lick.title)}"'
    if not homes:
        return f"{name} has no note with a pitch\n"
    best, twin = homes[0], relative_candidate(homes)
    others = [home for home in homes[1:] if home is not twin][: _RUNNERS_UP - (twin is not None)]
    said = [("best", best, _left_out(best))]
    said += [("same", twin, "the same notes: chords, long notes and the last note decide")] if twin else []
    said += [("or" if n == 0 else "", home, _left_out(home)) for n, home in enumerate(others)]
    wide = max(len(home.name) for _, home, _ in said)
    lines = [name, *(f"  {word:5} {home.name:{wide}}   {words}" for word, home, words in said)]
    if is_close_call(homes):
        lines.append("  a close call: the notes alone don't decide")
    return "\n".join(lines) + "\n"


def _left_out(home: Candidate) -> str:
    if not home.left_out:
        return f"holds all {console.counted_noun(home.notes, 'note')}"
    parts = ((home.outside_scale, "outside the scale"), (home.outside_box, "outside the box"))
    fit = "doesn't fit" if home.left_out == 1 else "don't fit"
    where = ", ".join(f"{n} {what}" for n, what in parts if n)
    return f"{home.left_out} of {console.counted_noun(home.notes, 'note')} {fit}: {where}"
