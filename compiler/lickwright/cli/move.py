"""`lickwright move`: a lick in another key, box, octave or tuning, written as a new file."""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from lickwright import report
from lickwright.cli import screen

if TYPE_CHECKING:
    from lickwright.cli.sources import Verdict
    from lickwright.moves import Wish
    from lickwright.notation.tree import Book, Lick
    from lickwright.source import Source

_KEYS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
_OTHER = {
    "Db": "C#",
    "Eb": "D#",
    "F#": "Gb",
    "Ab": "G#",
    "Bb": "A#",
}  # where a key's usual spelling runs past seven signs

_HELP = """Move the licks of FILE (or the one called TITLE) and write a new .lick.

By pitch (the usual way) the notes stay what they are, in the new key, and the best strings and frets for them are found;
by shape every finger keeps its place in the hand. What could not be kept is said.

\b
  lickwright move porch.lick --key "C minor"
  lickwright move porch.lick --box 3
  lickwright move porch.lick --octave up --out high.lick
  lickwright move porch.lick --all-keys --out family.lick
"""


@click.command(short_help="Write a lick in another key, box, octave or tuning.", help=_HELP)
@click.argument("path", metavar="FILE")
@click.argument("title", required=False, metavar="[TITLE]")
@click.option("--key", metavar="KEY", help='The key to arrive in: "C minor".')
@click.option("--box", metavar="BOX", help="The box to arrive in, as in the notation: 3, E shape, frets 5-8.")
@click.option("--octave", type=click.Choice(["up", "down"]), help="An octave higher or lower.")
@click.option("--tuning", metavar="TUNING", help='The tuning to arrive in: "drop D".')
@click.option("--by", type=click.Choice(["pitch", "shape"]), default="pitch", show_default=True, help="What is kept.")
@click.option("--all-keys", is_flag=True, help="Each lick in all twelve keys.")
@click.option("--all-boxes", is_flag=True, help="Each lick in every box of its scale.")
@click.option("--out", metavar="FILE", help="Write there; standard output if not said.")
@click.option("--overwrite", is_flag=True, help="Let --out replace a file.")
def command(
    path: str, title: str | None, key: str | None, box: str | None, octave: str | None, tuning: str | None, by: str,
    all_keys: bool, all_boxes: bool, out: str | None, overwrite: bool,
) -> int:  # fmt: skip
    """Its help is `_HELP`, since it shows examples."""
    if not (key or box or octave or tuning or all_keys or all_boxes):
        raise click.UsageError("where to? say --key, --box, --octave, --tuning, --all-keys or --all-boxes")
    if (key and all_keys) or (box and all_boxes):
        raise click.UsageError("one key or all of them, one box or all of them")
    if out is not None and os.path.lexists(out) and not overwrite:
        raise click.UsageError(f"{report.safe(out)} is there already: choose another name, or say --overwrite")
    from lickwright.cli.sources import Found, Verdict, compiled
    from lickwright.moves import Wish
    from lickwright.notation.syntax import parse

    verdict = Verdict()
    wish = Wish(key, box, {"up": 1, "down": -1}.get(octave or "", 0), tuning, by)
    for _, compilation in compiled([Found(path)], verdict):
        if not compilation.licks:
            screen.err(report.findings(compilation.source, compilation.diagnostics))
            verdict.judge(compilation.diagnostics)
            continue
        book, _ = parse(compilation.source)
        chosen = _chosen(book, title)
        if not chosen:
            name = report.safe(title or "")
            raise click.UsageError(f'there is no lick called "{name}"' if title else "there is no lick in this file")
        moved = [
            one
            for lick in chosen
            for one in _family(lick, book, compilation.source, wish, all_keys, all_boxes, verdict)
        ]
        if moved:
            _write(book, moved, out, verdict)
    return verdict.code


def _chosen(book: Book, title: str | None) -> list[Lick]:
    return [lick for lick in book.licks if title is None or lick.title.casefold() == title.casefold()]


def _family(
    lick: Lick, book: Book, source: Source, wish: Wish, all_keys: bool, all_boxes: bool, verdict: Verdict
) -> Iterator[Lick]:
    """The lick in all the places asked for, each under a title of its own where there are several."""
    from dataclasses import replace

    from lickwright.moves import Unmovable, move_lick

    for one, name in _wishes(lick, book, source, wish, all_keys, all_boxes):
        try:
            moved = move_lick(lick, book, source, one)
        except Unmovable as e:
            screen.err(f"{report.safe(name or lick.title)}: {report.safe(str(e))}\n")
            verdict.add(screen.Exit.MUSIC)
            continue
        for words in moved.said:
            screen.err(f'"{report.safe(lick.title)}"{report.safe(f", {name}" if name else "")}: {report.safe(words)}\n')
        yield replace(moved.lick, title=f"{lick.title}, {name}") if name else moved.lick


def _wishes(
    lick: Lick, book: Book, source: Source, wish: Wish, all_keys: bool, all_boxes: bool
) -> Iterator[tuple[Wish, str]]:
    """Every place, and what distinguishes it; "" where there is only one."""
    from dataclasses import replace

    from lickwright.resolve import resolve

    timeline, _ = resolve(lick, book, source)
    settings = timeline.settings if timeline else None
    keys: list[str | None] = [wish.key]
    boxes: list[str | None] = [wish.box]
    if all_keys and settings and settings.key:
        keys = [_spelled(tonic, settings.key.mode) for tonic in _KEYS]
    if all_boxes and settings and settings.scale:
        numbered = settings.scale.is_pentatonic_family
        boxes = [str(n) for n in range(1, 6)] if numbered else [f"{letter} shape" for letter in "CAGED"]
    for key in keys:
        for box in boxes:
            place = box if box is None or "shape" in box else f"box {box}"
            words = (key if all_keys else "", place if all_boxes else "")
            yield replace(wish, key=key, box=box), ", ".join(filter(None, words))


def _spelled(tonic: str, mode: str) -> str:
    from lickwright.music.pitch import parse_key

    try:
        return str(parse_key(f"{tonic} {mode}"))
    except ValueError:
        return f"{_OTHER.get(tonic, tonic)} {mode}"


def _write(book: Book, licks: list[Lick], out: str | None, verdict: Verdict) -> None:
    from dataclasses import replace

    from lickwright.notation.canonical import canonical

    text = canonical(replace(book, licks=tuple(licks)))
    if out is None:
        screen.out(text)
        return
    from lickwright.cli.writing import replace as replace_file

    try:
        replace_file(out, text.encode("utf-8"))
    except OSError as e:
        screen.err(f"{report.safe(out)}: cannot be written: {e.strerror}\n")
        verdict.add(screen.Exit.FILE)
