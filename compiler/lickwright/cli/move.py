"""`lickwright move`: licks in another key, box, octave or tuning, written as new files."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import click

from lickwright.cli import option_types, terminal
from lickwright.core.slugs import same_title
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.cli.sources import Verdict
    from lickwright.core.source import Source
    from lickwright.notation.tree import Book, Lick
    from lickwright.transform.moves import MovedLick, MoveRequest

_HELP = """Move the licks of FILE (or the one called TITLE) and write a new .lick.

By pitch (the usual way) the notes stay what they are, in the new key, and the best strings and frets for them are found;
by shape every finger keeps its place in the hand. What could not be kept is said, and what replaced it.

\b
  lickwright move porch.lick --key "C minor"
  lickwright move porch.lick --box 3
  lickwright move porch.lick --octave up --out high.lick
  lickwright move porch.lick --all-keys --out family.lick     one file
  lickwright move porch.lick --all-boxes --out family/        a file a lick
"""


@click.command(short_help="Write a lick in another key, box, octave or tuning.", help=_HELP)
@click.argument("path", metavar="FILE")
@option_types.title_argument()
@click.option("--key", metavar="KEY", help='The new key: "C minor".')
@click.option("--box", metavar="BOX", help="The new box, as in the notation: 3, E shape, frets 5-8.")
@click.option("--octave", type=option_types.OneOf("up", "down"), help="An octave higher or lower.")
@click.option("--tuning", metavar="TUNING", help='The new tuning: "drop D".')
@click.option(
    "--by", type=option_types.OneOf("pitch", "shape"), default="pitch", show_default=True, help="What is kept."
)
@click.option("--all-keys", is_flag=True, help="Each lick in all twelve keys.")
@click.option("--all-boxes", is_flag=True, help="Each lick in all five boxes.")
@option_types.out_option("PATH", "Write there; a folder (family/) gets a file a lick; - is standard output.")
@option_types.overwrite_option("Let --out replace other files; never FILE itself.")
def command(
    path: str, title: str | None, key: str | None, box: str | None, octave: str | None, tuning: str | None, by: str,
    all_keys: bool, all_boxes: bool, out: str | None, overwrite: bool,
) -> int:  # fmt: skip
    """Its help is `_HELP`, since it shows examples."""
    if not (key or box or octave or tuning or all_keys or all_boxes):
        raise click.UsageError("where to? say --key, --box, --octave, --tuning, --all-keys or --all-boxes")
    if (key and all_keys) or (box and all_boxes):
        raise click.UsageError("one key or all of them, one box or all of them")
    if overwrite and out in (None, "-"):
        raise click.UsageError("--overwrite goes with --out and a file or a folder")
    from lickwright.cli.sources import FoundSource, Verdict, compiled
    from lickwright.notation.syntax import parse_source
    from lickwright.transform.moves import MoveRequest
    from lickwright.transform.moves.inline_config import inline_config

    verdict = Verdict()
    wish = MoveRequest(key, box, {"up": 1, "down": -1}.get(octave or "", 0), tuning, by)
    for _, compilation in compiled([FoundSource(path)], verdict):
        if not compilation.licks:
            terminal.err(console.format_findings(compilation.source, compilation.diagnostics))
            continue
        book = inline_config(parse_source(compilation.source)[0], compilation.project)
        moved = [
            one
            for lick in _chosen(book, title, path)
            for one in _family(lick, book, compilation.source, wish, all_keys, all_boxes, verdict)
        ]
        if moved:
            with terminal.endings():
                _write(book, moved, path, out, overwrite, verdict)
    return verdict.code


def _folder(out: str) -> bool:
    """Whether `--out` names a folder: one that is there, or a name that ends like one."""
    return os.path.isdir(out) or out.endswith(("/", os.sep))


def _chosen(book: Book, title: str | None, path: str) -> list[Lick]:
    if title is None:
        return list(book.licks)
    found = [lick for lick in book.licks if same_title(lick.title, title)]
    if not found:
        from lickwright.cli.select_lick import no_such_lick

        raise no_such_lick(title, path, [lick.title for lick in book.licks])
    return found


# --- families --------------------------------------------------------------------------------------------------------


def _family(
    lick: Lick, book: Book, source: Source, wish: MoveRequest, all_keys: bool, all_boxes: bool, verdict: Verdict
) -> Iterator[Lick]:
    """The lick in all the places asked for, each under a title of its own where there are several."""
    from lickwright.core.fast_dataclass import replace
    from lickwright.transform.moves import Unmovable, move_lick

    refused: set[str] = set()  # said once: what is wrong with one key is wrong with all
    for one in _wishes(lick, book, source, wish, all_keys, all_boxes):
        try:
            moved = move_lick(lick, book, source, one)
        except Unmovable as e:
            verdict.add(terminal.Exit.MUSIC)
            if str(e) not in refused:
                refused.add(str(e))
                terminal.err(f"{_name(lick.title, _goal(one, all_keys, all_boxes))}: {console.safe_text(str(e))}\n")
            continue
        place = _place(moved, all_keys, all_boxes)
        for words in moved.said:
            terminal.err(f"{_name(lick.title, place)}: {console.safe_text(words)}\n")
        yield replace(moved.lick, title=f"{lick.title}, {place}") if place else moved.lick


def _wishes(
    lick: Lick, book: Book, source: Source, wish: MoveRequest, all_keys: bool, all_boxes: bool
) -> Iterator[MoveRequest]:
    """Every place: keys from C up, each as it is best spelled, and in each the boxes by number."""
    from lickwright.core.fast_dataclass import replace
    from lickwright.timeline.build import build_timeline

    keys: list[str | None] = [wish.key]
    boxes = [str(n) for n in range(1, 6)] if all_boxes else [wish.box]
    if all_keys:
        timeline, _ = build_timeline(lick, book, source)
        key = timeline.settings.key if timeline else None
        # without a key any will do: `move_lick` says that one is missing
        keys = [str(key.transposed(pc - key.tonic.pc)) for pc in range(12)] if key else ["C major"]
    for to_key in keys:
        for box in boxes:
            yield replace(wish, key=to_key, box=box)


def _goal(wish: MoveRequest, all_keys: bool, all_boxes: bool) -> str:
    return ", ".join(filter(None, (wish.key if all_keys else "", f"box {wish.box}" if all_boxes else "")))


def _place(moved: MovedLick, all_keys: bool, all_boxes: bool) -> str:
    """What tells it from the others of its family: `C minor, box 3`."""
    settings = moved.timeline.settings
    box = "" if settings.box is None else f"box {settings.box}" if settings.box.numbers else str(settings.box)
    return ", ".join(filter(None, (str(settings.key) if all_keys else "", box if all_boxes else "")))


def _name(title: str, place: str) -> str:
    return f'"{console.safe_text(title)}"' + (f", {place}" if place else "")


# --- writing ---------------------------------------------------------------------------------------------------------


def _write(book: Book, licks: Sequence[Lick], path: str, out: str | None, overwrite: bool, verdict: Verdict) -> None:
    """One file, or a folder with a file a lick. What stands in the way stays, unless it may be replaced."""
    from lickwright.notation.canonical import canonical
    from lickwright.transform.moves import book_with_licks

    if out is not None and _folder(out):
        _into_folder(book, licks, path, out, overwrite, verdict)
        return
    from lickwright.cli.single_output import STDOUT, saved

    text = canonical(book_with_licks(book, licks)).encode("utf-8")
    verdict.add(saved(STDOUT if out is None else out, text, None, overwrite, (path,)))


def _into_folder(book: Book, licks: Sequence[Lick], path: str, out: str, overwrite: bool, verdict: Verdict) -> None:
    from lickwright.cli.output import Folder, Output
    from lickwright.cli.sources import SUFFIX
    from lickwright.core.destination import source_conflict
    from lickwright.core.slugs import distinct_names, slug
    from lickwright.core.source import Source as Text
    from lickwright.notation.canonical import canonical
    from lickwright.transform.moves import book_with_licks

    names = distinct_names([slug(lick.title) for lick in licks])
    outputs = [
        Output(name + SUFFIX, canonical(book_with_licks(book, [lick])).encode("utf-8"))
        for name, lick in zip(names, licks, strict=True)
    ]
    places = [(output, os.path.join(out, output.name)) for output in outputs]
    refused = {place: found for _, place in places if (found := source_conflict(place, (path,)))}
    folder = Folder(out, ".", path, overwrite)
    troubles = folder.write([output for output, place in places if place not in refused])
    for place, finding in (*refused.items(), *troubles):
        verdict.judge([finding])
        terminal.err(console.format_findings(Text(place, ""), [finding]))
    terminal.err(f"{console.counted_noun(folder.done, 'lick')} in {console.safe_text(out)}\n")
