"""What one call of `lickwright make` asks for: its options, with the project config applied where the command line says nothing.

In: the click context of the command. Out: a `MakeRequest`, a `BuildConfig`, and the `CompileOptions` of each source. Options that contradict each
other are wrong usage. Nothing is built here.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping
from copy import copy
from typing import TYPE_CHECKING, Any

import click

from lickwright.build.build_config import BuildConfig, Share
from lickwright.cli import archive_options, audio_options, sheet_options
from lickwright.cli.option_pairs import first_given, refuse
from lickwright.cli.project_options import preferred_values
from lickwright.config.discovery import ProjectConfig, ProjectConfigs
from lickwright.config.name_pattern import Arrangement
from lickwright.core.fast_dataclass import replace
from lickwright.export import EXPORTS, ExportFormat, Options, RecordingRequest, SheetRequest
from lickwright.export.option_parsing import TempoRequest
from lickwright.store.addresses import NoAddress, is_remote, local_path
from lickwright.store.output_keys import options_key
from lickwright.store.types import CompileOptions

if TYPE_CHECKING:
    from lickwright.cli.archive import Archive
    from lickwright.cli.sheet_book import SheetBook

Values = Mapping[str, Any]  # of options, by the names of the command's parameters


def refuse_contradictory_options(values: Values) -> None:
    """Raise UsageError for options that cannot hold together, whatever the sources are."""
    refuse(
        values["out"] == "-",
        "--out names a folder, and - is none: lickwright show prints a tab; for a folder called -, say ./-",
    )
    if values["merge"]:  # which refuses all but a few options by itself
        return
    refuse(
        values["watch"] and (values["dry_run"] or values["report"] or "-" in values["paths"]),
        "--watch goes with files and folders, and neither with --dry-run nor --report",
    )
    refuse(
        values["cluster"] and (values["watch"] or values["dry_run"]),
        "--cluster goes neither with --watch nor with --dry-run",
    )
    sheet_options.refuse_contradictory_sheet_options(values)
    refuse(
        values["findings"] != "text" and (values["everything"] or values["watch"]),
        "--all and --watch are for a screen: leave --findings out",
    )


def local_name(text: str) -> str:
    """Return the path that a `file:` or `local:` address means, and any other text as it is. Raises UsageError."""
    try:
        return local_path(text)
    except (NoAddress, ValueError) as e:
        raise click.UsageError(str(e)) from None


def library_title(project: ProjectConfig | None) -> str:
    """Return the title of a library, for the index of its lesson pages: that of its album; "" without one."""
    return project.album.title if project is not None and project.album is not None else ""


class MakeRequest:
    """One call of `lickwright make`: paths, output folder, and options from the command line and the project config.

    Raises UsageError when it is made, for an output folder that is a link and was not named, and for a watch of an address.
    """

    def __init__(self, context: click.Context) -> None:
        self.params: Values = context.params
        self.paths: tuple[str, ...] = tuple(map(local_name, self.params["paths"]))
        self.projects = ProjectConfigs()
        self._context = context
        self._chosen = preferred_values(context, self.projects.named(self.paths[0]))  # for what holds for the whole run
        self.out = local_name(self._chosen["out"])
        self.is_remote = any(map(is_remote, (*self.paths, self.out)))  # sources or outputs are not on this machine
        self.is_library = self.is_remote or any(os.path.isdir(path) for path in self.paths)
        self._refuse_linked_default()
        if self.is_remote and self.params["watch"]:
            raise click.UsageError("--watch goes with files of this machine: leave it out, or name folders here")

    def _refuse_linked_default(self) -> None:
        source = self._context.get_parameter_source("out")
        is_default = source is click.core.ParameterSource.DEFAULT and self.out == self.params["out"]
        refuse(  # `out` of a project config was checked when it was read
            is_default and os.path.islink(self.out),
            f"{self.out} is a link to another place: say --out {self.out} to write there",
        )

    @property
    def jobs(self) -> int:
        """The number of processes to work in: as asked for, else one per core."""
        return self._chosen["jobs"] or _cores()

    def archive(self) -> Archive | None:
        """Return the `Archive` that `--zip` asks for; None without it. Raises UsageError."""
        return archive_options.requested_archive({**self.params, "paths": self.paths}, self._chosen)

    def book(self) -> SheetBook | None:
        """Return the `SheetBook` that `--book` asks for; None without it, or where only a part of the licks is made. Raises UsageError."""
        title: str | None = self._chosen["book"]
        refuse(
            first_given("share_pages") and not title,
            "--share-pages is about a book: say --book and its title",
        )
        if not title or self.params["watch"] or self.params["shard"] or "-" in self.paths:
            return None
        from lickwright.cli.sheet_book import SheetBook  # loads the compiler

        refuse(self.is_remote, "--book goes with files of this machine: name folders here")
        return SheetBook(title, self._chosen["share_pages"], self.out, self.params["overwrite"], self.paths)

    def arrangement(self) -> Arrangement | None:
        """Return how the release in the output folder is named and laid out; None if there is none. Raises UsageError."""
        return archive_options.requested_arrangement(self.params, self._chosen)

    def build_config(self) -> BuildConfig:
        """Return the build, without its report and archive. Raises UsageError."""
        arrangement = self.arrangement()
        # the names of a release need what the index knows of every lick
        indexed = self.is_library or self.params["archive"] is not None or arrangement is not None
        return BuildConfig(
            self.paths,
            self.out,
            self.options_by_source(indexed),
            self.jobs,
            self.params["overwrite"],
            self.params["shard"] or Share(),
            prune=self.params["prune"],
            dry=self.params["dry_run"],
            stdin=_stdin,
            sync=not self.params["no_sync"],
            check_contents=self._chosen["check_contents"],
            release=arrangement,
            title=library_title(self.projects.named(self.paths[0])),
        )

    def read_again(self) -> MakeRequest:
        """Return the same request with every `lickwright.toml` read anew, but with the same paths and output folder."""
        request = copy(self)
        request.projects = ProjectConfigs()
        request._chosen = preferred_values(self._context, request.projects.named(self.paths[0]))
        return request

    def options_by_source(self, indexed: bool) -> Callable[[str], CompileOptions]:
        """Return a function from the path of a source to what is wanted of it; `indexed`: the index is to know its licks.

        The command line comes first, then the project config of the source, then the defaults. The function raises UsageError.
        """
        found: dict[str | None, CompileOptions] = {}  # by the file of the project config

        def options_of(path: str) -> CompileOptions:
            project = self.projects.of(path)
            file = project.path if project is not None else None
            if file not in found:
                found[file] = options_in(project)
            return found[file]

        def options_in(project: ProjectConfig | None) -> CompileOptions:
            chosen = preferred_values(self._context, project)
            rows, options = _formats_and_options(chosen, project)
            key = options_key(options, project.key if project else "")
            names = tuple(row.name for row in rows)
            return CompileOptions(
                names, options, project, key, indexed or "page" in names, bool(project and not project.ok)
            )

        return options_of


def _formats_and_options(chosen: Values, project: ProjectConfig | None) -> tuple[tuple[ExportFormat, ...], Options]:
    """Return the formats to make and the options of the exports. Raises UsageError."""
    tempo: TempoRequest = chosen["tempo"]
    recording = audio_options.requested_audio(chosen.get, project.sounds if project is not None else {})
    sheet = sheet_options.requested_sheet(chosen.__getitem__)
    rows = _with_score(_with_sheet(_with_audio(chosen["rows"], recording), sheet), chosen["compressed"])
    is_recorded = any(row.is_audio for row in rows)
    refuse(
        first_given("silent_page") and not any(row.name == "page" for row in rows),
        "--silent-page is about lesson pages: say --to page",
    )
    if is_recorded:
        audio_options.require_sound()
    sheet_options.require_pictures(sheet)
    options = Options(
        chosen["width"],
        tempo.percent,
        tempo.bpm,
        chosen["single_channel"],
        recording,
        chosen["chord_tones"],
        bars=chosen["bars"],
        sheet=sheet,
        compressed=bool(chosen["compressed"]),
        page_sound=not chosen["silent_page"] and any(row.name == "page" for row in rows),
    )
    audio_options.keep_numpy_single()
    if is_recorded and project is not None and project.album is not None:
        options = replace(options, album=project.album)
    return rows, options


def _with_audio(rows: tuple[ExportFormat, ...], recording: RecordingRequest) -> tuple[ExportFormat, ...]:
    """Return the formats, with audio if an option about sound asks for it and no format is a recording."""
    if replace(recording, longest=None) == RecordingRequest() or any(row.is_audio for row in rows):
        return rows
    return rows + tuple(row for row in EXPORTS if row.is_audio)


def _with_sheet(rows: tuple[ExportFormat, ...], sheet: SheetRequest) -> tuple[ExportFormat, ...]:
    """Return the formats, with the sheet if an option about it asks for it."""
    if sheet == SheetRequest() or any(row.is_paper for row in rows):
        return rows
    return rows + tuple(row for row in EXPORTS if row.is_paper)


def _with_score(rows: tuple[ExportFormat, ...], compressed: bool) -> tuple[ExportFormat, ...]:
    """Return the formats, with MusicXML if it is asked for compressed."""
    if not compressed or any(row.compressed_suffix for row in rows):
        return rows
    return rows + tuple(row for row in EXPORTS if row.compressed_suffix)


def _cores() -> int:
    """Processors that this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:
        return os.cpu_count() or 1


def _stdin() -> bytes | None:
    from lickwright.core.unreadable import MAX_BYTES

    try:
        return sys.stdin.buffer.read(MAX_BYTES + 1)
    except (OSError, AttributeError, ValueError):  # closed by the shell, or a folder
        return None
