"""`lickwright move`: licks in another key, box, octave or tuning, written as new files."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import click

from lickwright.cli import option_types, terminal
from lickwright.cli.option_pairs import refuse
from lickwright.core.slugs import same_title
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.cli.sources import Verdict
    from lickwright.core.source import Source
    from lickwright.notation.tree import Book, Lick
    from lickwright.settings.project_rules import ProjectRules
    from lickwright.transform.moves import MovedLick, MoveRequest

_HELP = """Move the licks of FILE (or the one called TITLE) and write a new .lick.

By pitch (the default), the melody stays the same in the new key, on the strings and frets that suit it best; by shape,
every finger keeps its place in the hand. What could not be kept is said, with what replaced it.

\b
  lickwright move porch.lick --key "C minor"
  lickwright move porch.lick --box 3
  lickwright move porch.lick --octave up --out high.lick
  lickwright move porch.lick --all-keys --out family.lick     one file
  lickwright move porch.lick --all-boxes --out family/        one file per lick
"""


@click.command(help=_HELP)
@click.argument("path", metavar="FILE")
@option_types.title_argument()
@click.option("--key", metavar="KEY", help='The new key: "C minor".')
@click.option("--box", metavar="BOX", help="The new box, as in the notation: 3, E shape, frets 5-8.")
@click.option("--octave", type=option_types.OneOf("up", "down"), help="An octave higher or lower.")
@click.option("--tuning", metavar="TUNING", help='The new tuning: "drop D".')
@click.option(
    "--by",
    type=option_types.OneOf("pitch", "shape"),
    default="pitch",
    show_default=True,
    help="Keep the pitches, or the shape of the hand.",
)
@click.option("--all-keys", is_flag=True, help="Each lick in all twelve keys.")
@click.option("--all-boxes", is_flag=True, help="Each lick in all five boxes.")
@option_types.out_option("PATH", "Write there; a folder (family/) gets one file per lick; - is standard output.")
@option_types.overwrite_option("Let --out replace other files; never FILE itself.")
def command(
    path: str, title: str | None, key: str | None, box: str | None, octave: str | None, tuning: str | None, by: str,
    all_keys: bool, all_boxes: bool, out: str | None, overwrite: bool,
) -> int:  # fmt: skip
    """Its help is `_HELP`, since it shows examples."""
    refuse(
        not any((key, box, octave, tuning, all_keys, all_boxes)),
        "where to? say --key, --box, --octave, --tuning, --all-keys or --all-boxes",
    )
    refuse((key and all_keys) or (box and all_boxes), "one key or all of them, one box or all of them")
    refuse(overwrite and out in (None, "-"), "--overwrite goes with --out and a file or a folder")
    from lickwright.cli.findings_view import show_findings
    from lickwright.cli.sources import FoundSource, Verdict, compile_sources
    from lickwright.notation.syntax import parse_source
    from lickwright.transform.moves import MoveRequest
    from lickwright.transform.moves.inline_config import inline_config, rules_beside

    verdict = Verdict()
    request = MoveRequest(key, box, {"up": 1, "down": -1}.get(octave or "", 0), tuning, by)
    for _, compilation in compile_sources([FoundSource(path)], verdict):
        if not compilation.licks:
            show_findings(compilation.source, compilation.diagnostics)
            continue
        book = inline_config(parse_source(compilation.source)[0], compilation.project)
        family = _Family(
            book, compilation.source, request, all_keys, all_boxes, rules_beside(compilation.project), verdict
        )
        moved = [one for lick in _licks_called(book, title, path) for one in family.moved(lick)]
        if moved:
            with terminal.handle_interrupts():
                _write(book, moved, path, out, overwrite, verdict)
    return verdict.code


def _licks_called(book: Book, title: str | None, path: str) -> list[Lick]:
    """Return the licks of this title, or all without one. Raises UsageError."""
    found = [lick for lick in book.licks if title is None or same_title(lick.title, title)]
    if title is not None and not found:
        from lickwright.cli.select_lick import no_such_lick

        raise no_such_lick(title, path, [lick.title for lick in book.licks])
    return found


# --- families --------------------------------------------------------------------------------------------------------


class _Family:
    """Moves licks to every place that was asked for."""

    def __init__(
        self,
        book: Book,
        source: Source,
        request: MoveRequest,
        all_keys: bool,
        all_boxes: bool,
        project: ProjectRules | None,
        verdict: Verdict,
    ) -> None:
        self._book, self._source, self._project = book, source, project
        self._request = request
        self._all_keys, self._all_boxes = all_keys, all_boxes
        self._verdict = verdict

    def moved(self, lick: Lick) -> Iterator[Lick]:
        """Yield the lick in each place, under a title of its own if there are several. Refusals and changes are printed."""
        from lickwright.core.fast_dataclass import replace
        from lickwright.transform.moves import Unmovable, move_lick

        refused: set[str] = set()  # printed once: what is wrong with one key is wrong with all
        for request in self._requests(lick):
            try:
                moved = move_lick(lick, self._book, self._source, request, self._project)
            except Unmovable as e:
                self._verdict.add(terminal.Exit.MUSIC_ERRORS)
                if str(e) not in refused:
                    refused.add(str(e))
                    terminal.err(f"{_name(lick.title, self._goal(request))}: {console.safe_text(str(e))}\n")
                continue
            place = self._place(moved)
            for words in moved.said:
                terminal.err(f"{_name(lick.title, place)}: {console.safe_text(words)}\n")
            yield replace(moved.lick, title=f"{lick.title}, {place}") if place else moved.lick

    def _requests(self, lick: Lick) -> Iterator[MoveRequest]:
        """Yield each place: keys from C up, each as it is best spelled, and in each the boxes by number."""
        from lickwright.core.fast_dataclass import replace

        keys = self._keys(lick) if self._all_keys else [self._request.key]
        boxes = [str(n) for n in range(1, 6)] if self._all_boxes else [self._request.box]
        for key in keys:
            for box in boxes:
                yield replace(self._request, key=key, box=box)

    def _keys(self, lick: Lick) -> list[str | None]:
        from lickwright.timeline.build import build_timeline

        timeline, _ = build_timeline(lick, self._book, self._source, self._project)
        key = timeline.settings.key if timeline else None
        # for a lick without a key any will do: `move_lick` says that one is missing
        return [str(key.transposed(pc - key.tonic.pc)) for pc in range(12)] if key else ["C major"]

    def _goal(self, request: MoveRequest) -> str:
        words = (request.key if self._all_keys else "", f"box {request.box}" if self._all_boxes else "")
        return ", ".join(filter(None, words))

    def _place(self, moved: MovedLick) -> str:
        """Return what tells a lick from the others of its family: `C minor, box 3`."""
        settings = moved.timeline.settings
        box = "" if settings.box is None else f"box {settings.box}" if settings.box.numbers else str(settings.box)
        return ", ".join(filter(None, (str(settings.key) if self._all_keys else "", box if self._all_boxes else "")))


def _name(title: str, place: str) -> str:
    return f'"{console.safe_text(title)}"' + (f", {place}" if place else "")


# --- writing ---------------------------------------------------------------------------------------------------------


def _write(book: Book, licks: Sequence[Lick], path: str, out: str | None, overwrite: bool, verdict: Verdict) -> None:
    """Write one file, or a folder with a file per lick, without replacing what it may not; the verdict learns of troubles."""
    from lickwright.notation.canonical import canonical_text
    from lickwright.settings.fields import FIELD_ORDER
    from lickwright.transform.moves import book_with_licks

    if out is not None and (os.path.isdir(out) or out.endswith(("/", os.sep))):
        _into_folder(book, licks, path, out, overwrite, verdict)
        return
    from lickwright.cli.single_output import STDOUT, save_output

    text = canonical_text(book_with_licks(book, licks), field_order=FIELD_ORDER).encode("utf-8")
    verdict.add(save_output(STDOUT if out is None else out, text, None, overwrite, (path,)))


def _into_folder(book: Book, licks: Sequence[Lick], path: str, out: str, overwrite: bool, verdict: Verdict) -> None:
    from lickwright.cli.findings_view import show_findings
    from lickwright.cli.output import Output, OutputFolder
    from lickwright.cli.sources import SUFFIX
    from lickwright.core.destination import source_conflict
    from lickwright.core.slugs import distinct_names, slug
    from lickwright.core.source import Source as Text
    from lickwright.notation.canonical import canonical_text
    from lickwright.settings.fields import FIELD_ORDER
    from lickwright.transform.moves import book_with_licks

    names = distinct_names([slug(lick.title) for lick in licks])
    outputs = [
        Output(name + SUFFIX, canonical_text(book_with_licks(book, [lick]), field_order=FIELD_ORDER).encode("utf-8"))
        for name, lick in zip(names, licks, strict=True)
    ]
    places = [(output, os.path.join(out, output.name)) for output in outputs]
    refused = {place: found for _, place in places if (found := source_conflict(place, (path,)))}
    folder = OutputFolder(out, ".", path, overwrite)
    troubles = folder.write([output for output, place in places if place not in refused])
    for place, finding in (*refused.items(), *troubles):
        verdict.add_findings([finding])
        show_findings(Text(place, ""), [finding])
    terminal.err(f"{console.counted_noun(folder.done, 'lick')} in {console.safe_text(out)}\n")
