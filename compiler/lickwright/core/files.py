"""The rules about files (L6xx). They are read by `file_bytes.py` and written by `atomic_files.py`."""

from __future__ import annotations

from lickwright.core.diagnostics import Rule, Severity

UNREADABLE = Rule(
    "L601",
    "file cannot be read",
    Severity.ERROR,
    "the file does not exist, or you may not read it",
    "Lickwright could not open the file. The name may be mistyped, the file may have moved, or it belongs to "
    "someone else. The other files are still done.",
    "",
    "",
)
NOT_TEXT = Rule(
    "L602",
    "not a lick file",
    Severity.ERROR,
    "the file is too large, or not UTF-8 text",
    "A lick file is plain text in UTF-8, at most 1 MiB. A file of a word processor, a picture or a recording is "
    "refused whole, because guessing at letters would silently change the music.",
    "",
    "",
)
NO_LICKS = Rule(
    "L603",
    "folder without licks",
    Severity.ERROR,
    "there is no .lick file in the folder",
    "A folder was named, and neither it nor the folders in it hold a file whose name ends in .lick. Hidden "
    "files and linked folders are skipped. It counts as an error, so that you notice a mistyped folder.",
    "",
    "",
)
UNWRITABLE = Rule(
    "L604",
    "output cannot be written",
    Severity.ERROR,
    "the output file could not be written",
    "The disk is full, or you may not write to the folder. A file that was there before is unchanged: every "
    "output is written whole next to its place and then moved there.",
    "",
    "",
)
NOT_OURS = Rule(
    "L605",
    "output not overwritten",
    Severity.ERROR,
    "another file is where the output would go",
    "Lickwright replaces only what it wrote itself and nobody has changed since; the output folder keeps a "
    "record of that in .lickwright.db, a report or a picture has a last line that tells. A file that you changed by "
    "hand, one that came from elsewhere, or outputs of another source of the same name stay as they are. Move the "
    "file away, name another place, or say --overwrite. A lick that is read, a lickwright.toml, a link, a folder, a "
    "pipe or a disk in the place of an output stays, even with --overwrite.",
    "",
    "",
)
SKIPPED = Rule(
    "L606",
    "source skipped",
    Severity.ERROR,
    "the program crashed, took too long or ran out of memory over a source",
    "While a library is built each source is worked on in a process of its own, with limits of time and memory. A "
    "source that crashes this process twice, the second time alone, is skipped and named; all others are still made. "
    "It is tried again in the next run. Please report it, with the file if you may share it.",
    "",
    "",
)

RULES: tuple[Rule, ...] = (UNREADABLE, NOT_TEXT, NO_LICKS, UNWRITABLE, NOT_OURS, SKIPPED)
