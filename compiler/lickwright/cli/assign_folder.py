"""The folder that `lickwright assign` writes: the assignment, and the lesson page and printed sheet of each lick.

In: what is assigned, to whom. Out: files, and the exit code. The assignment of another week is never replaced unasked: one with a date gets a folder of its
own, any other is refused.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple
from urllib.parse import unquote

from lickwright.cli import terminal
from lickwright.cli.exit_code import exit_code
from lickwright.cli.findings_view import show_findings
from lickwright.cli.single_output import save_output
from lickwright.compiler.compilation import CompiledLick
from lickwright.core.atomic_files import make_folder
from lickwright.core.destination import Seal
from lickwright.core.diagnostics import Diagnostic
from lickwright.core.files import NOT_OURS
from lickwright.core.slugs import distinct_names, slug
from lickwright.core.source import Source, Span
from lickwright.export import Options, RecordingRequest, SheetRequest
from lickwright.export.page.assignment import AssignedLick, assignment_identity, assignment_page, identity_on_page
from lickwright.export.tab.heading import printed_facts, tempo_words
from lickwright.music.practice import Ladder
from lickwright.report import console
from lickwright.store.output_writer import unwritable_trouble

SEAL = Seal(b"<!-- lickwright assign ", b" -->\n")  # the last line of every page in the folder
SHEET_SEAL = Seal(b"% a sheet by lickwright assign, ", b"\n")  # a comment after the end of the PDF file
NAME = "assignment"
_LONGEST_PAGE = 64 << 20  # bytes of an assignment that are read
_LINK = re.compile(rb'<a [^<>]*?href="([^"/:<>]+)"')  # stops at the next tag: linear in the length of any page


class Assignment(NamedTuple):
    """What is assigned."""

    pupil: str
    due: str  # the day in words; "" without one
    words: str  # the teacher's
    licks: tuple[tuple[CompiledLick, Ladder], ...]
    sound: bool  # lesson pages hold recordings
    with_sheets: bool
    sheet: SheetRequest
    overwrite: bool
    sources: tuple[str, ...]


def beats_of(lick: CompiledLick) -> Fraction:
    """Return the beats a minute at which a lick without errors is written."""
    assert lick.timeline is not None  # or it had errors
    return lick.timeline.opening_tempo()


def write_assignment(asked: Assignment, folders: Sequence[str]) -> int:
    """Write the assignment into the first of `folders` that holds it already, or holds none; return the exit code.

    Where each holds another one, nothing is written, unless it may be overwritten.
    """
    assigned = list(_assigned(asked))
    identity = assignment_identity(asked.pupil, asked.due, asked.words, assigned)
    folder = _choose_folder(folders, identity)
    if folder is None and not asked.overwrite:
        return _refuse_replacing(folders[-1])
    folder = folder or folders[-1]
    try:
        make_folder(folder)
    except OSError as e:
        return _report(folder, unwritable_trouble(folder, e).finding)
    before = _linked_files(folder)
    code = 0
    for (lick, ladder), names in zip(asked.licks, assigned, strict=True):
        code = max(code, _write_lick(folder, lick, ladder, names, asked))
    if code:
        return code
    page = assignment_page(asked.pupil, asked.due, asked.words, assigned).encode("utf-8")
    path = os.path.join(folder, f"{NAME}.html")
    code = save_output(path, page, SEAL, asked.overwrite, asked.sources)
    if not code:
        who = f"{console.counted_noun(len(assigned), 'lick')} for {console.safe_text(asked.pupil)}"
        terminal.out(f"{console.safe_text(path)}: {who}\n")
        _report_unlinked(folder, before - _linked_files(folder))
    return code


def _choose_folder(folders: Sequence[str], identity: str) -> str | None:
    """Return the folder that holds this assignment, else the first that holds none; None if each holds another one."""
    holds = [(folder, _identity_in(folder)) for folder in folders]
    same = (folder for folder, found in holds if found == identity)
    return next(same, next((folder for folder, found in holds if found is None), None))


def _identity_in(folder: str) -> str | None:
    """Return the identity of the assignment in a folder, "" for one that says none; None where there is no assignment of ours."""
    path = os.path.join(folder, f"{NAME}.html")
    page = _page_in(folder)
    if page is None:
        return None
    try:
        return identity_on_page(page) or ("" if SEAL.matches_file(path) else None)
    except OSError:
        return None


def _page_in(folder: str) -> bytes | None:
    """Return the assignment's page in a folder; None where there is no ordinary file to read."""
    path = os.path.join(folder, f"{NAME}.html")
    try:
        if not os.path.isfile(path) or os.path.islink(path):
            return None
        with open(path, "rb") as file:
            return file.read(_LONGEST_PAGE)
    except (OSError, ValueError):
        return None


def _linked_files(folder: str) -> set[str]:
    """Return the names of the files in a folder to which its assignment leads."""
    links = _LINK.findall(_page_in(folder) or b"")
    names = {unquote(link.decode("ascii", "replace")) for link in links}
    return {name for name in names if os.path.isfile(os.path.join(folder, name))}


def _report_unlinked(folder: str, names: set[str]) -> None:
    if names:
        listed = ", ".join(map(console.safe_text, sorted(names)))
        terminal.out(f"no longer in the assignment, still in {console.safe_text(folder)}: {listed}\n")


def _refuse_replacing(folder: str) -> int:
    hint = "give it a folder of its own: --by with another date, or --out; or replace the former with --overwrite"
    message = "another assignment is there: not replaced"
    return _report(os.path.join(folder, f"{NAME}.html"), NOT_OURS.at(Span(0, 0), message, hint))


def _report(path: str, finding: Diagnostic) -> int:
    show_findings(Source(path, ""), [finding])
    return exit_code([finding])


def _assigned(asked: Assignment) -> Iterator[AssignedLick]:
    """Yield what the assignment says of each lick, with names for its files."""
    names = distinct_names([NAME, *(slug(lick.title) for lick, _ in asked.licks)])[1:]
    for name, (lick, ladder) in zip(names, asked.licks, strict=True):
        timeline = lick.timeline
        assert timeline is not None  # or it had errors
        settings = timeline.settings
        facts = printed_facts(timeline, tempo_words(timeline, None, None, note_names=True))
        shown = tuple((fact, value) for fact, value in facts if fact in ("key", "box", "tempo", "level"))
        counted = settings.tempo.counted_name(settings.meter)
        sheet = f"{name}.pdf" if asked.with_sheets else ""
        yield AssignedLick(
            lick.title, f"{name}.html", shown, counted, ladder.rungs(beats_of(lick)), settings.notes, sheet
        )


def _write_lick(folder: str, lick: CompiledLick, ladder: Ladder, names: AssignedLick, asked: Assignment) -> int:
    """Write the lesson page of a lick, and its printed sheet; return the exit code."""
    options = Options(recording=RecordingRequest(ladder=ladder), page_sound=asked.sound, sheet=asked.sheet)
    made = [("page", names.page, SEAL)] + ([("sheet", names.sheet, SHEET_SEAL)] if names.sheet else [])
    code = 0
    for form, name, seal in made:
        path = os.path.join(folder, name)
        export = lick.emit(form, options)
        if export.content is None:
            show_findings(Source(path, ""), export.losses)
            code = max(code, exit_code(export.losses))
        else:
            code = max(code, save_output(path, export.data, seal, asked.overwrite, asked.sources))
    return code
