"""Lays out a release: the licks of a build in the book's order, and where the files of each lie.

In: the manifest and the scan of a build, with a table `unread` of sources that could not be read; a pattern and a layout. Out: `ReleasedLick` values.
The order is that of the scan, within a source that of its text.
A lick that was not made has no files, but its number: so that those after it keep theirs while it is being mended.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from typing import Any, NamedTuple

from lickwright.config.name_pattern import Pattern
from lickwright.core.slugs import MAX_SLUG, distinct_names, slug
from lickwright.store.guarded_database import stored_values
from lickwright.store.manifest import Manifest, OutputRow

_LICKS = """
SELECT scan.target, option_set, l.slug, l.title, l."key", l.scale, l.box, l.level, l.tempo, l.meter, l.feel, l.style, l."by", l.rights,
l.techniques, l.chords, l.tags
FROM scan JOIN sources s ON s.path = scan.path JOIN licks l ON l.source_id = s.id
WHERE scan.id NOT IN (SELECT id FROM temp.unread) ORDER BY scan.id, l.line, l.id
"""
_SAID = (
    "title",
    "key",
    "scale",
    "box",
    "level",
    "tempo",
    "meter",
    "feel",
    "style",
    "by",
    "rights",
    "techniques",
    "chords",
    "tags",
)


class ReleasedFile(NamedTuple):
    """One output, and its path in the release."""

    at: str  # its path in the archive
    row: OutputRow


class ReleasedLick(NamedTuple):
    """One lick of a release."""

    target: str  # the folder of its outputs
    said: dict[str, Any]  # its fields, by the names of `_SAID`
    number: int  # its place in the book, from 1
    files: tuple[ReleasedFile, ...]  # none of a lick that was not made


def released_licks(
    manifest: Manifest, suffixes: Sequence[Collection[str]], pattern: Pattern | None, layout: str
) -> list[ReleasedLick]:
    """Return every lick of the build. `suffixes`: for each set of compile options, by number, how the names of its outputs end.

    Raises `Unusable` for an index that no program of ours has made.
    """
    with stored_values():
        rows = manifest.db.execute(_LICKS).fetchall()
        licks = [(row[0], row[1], str(row[2]), dict(zip(_SAID, row[3:], strict=True))) for row in rows]
        values = _values([(target, name, said) for target, _, name, said in licks])
        stems = [
            name if pattern is None else pattern.name(one) for (_, _, name, _), one in zip(licks, values, strict=True)
        ]
    flat = layout == "flat"
    more = [(str(one["source"]), str(one["chapter"]), str(one["title"])) for one in values]
    names = _apart(["" if flat else target for target, *_ in licks], stems, more)
    made: dict[str, dict[str, list[OutputRow]]] = {}
    found = []
    for n, ((target, option_set, name, said), stem) in enumerate(zip(licks, names, strict=True), 1):
        if target not in made:
            made[target] = _outputs_by_lick(manifest, target, suffixes[option_set])
        files = tuple(
            ReleasedFile(_place(layout, target, stem, row), row) for row in sorted(made[target].get(name, ()))
        )
        found.append(ReleasedLick(target, said, n, files))
    return found


def _outputs_by_lick(manifest: Manifest, target: str, suffixes: Collection[str]) -> dict[str, list[OutputRow]]:
    found: dict[str, list[OutputRow]] = {}
    for row in manifest.current(target):
        if row.suffix in suffixes:
            found.setdefault(row.lick, []).append(row)
    return found


def _place(layout: str, target: str, stem: str, row: OutputRow) -> str:
    folder = {"by-source": f"{target}/", "by-format": f"{row.format}/{target}/", "flat": ""}[layout]
    return f"{folder}{stem}{row.suffix}"


def _values(licks: Sequence[tuple[str, str, dict[str, Any]]]) -> list[dict[str, str | int]]:
    """Return for each lick the values that its name can be made of."""
    in_file: Counter[str] = Counter()
    in_chapter: Counter[str] = Counter()
    chapters: dict[str, int] = {}
    found: list[dict[str, str | int]] = []
    for number, (target, name, said) in enumerate(licks, 1):
        above, _, source = target.rpartition("/")
        chapter = above or source
        in_file[target] += 1
        in_chapter[chapter] += 1
        chapters.setdefault(chapter, len(chapters) + 1)
        level, tempo = said["level"], said["tempo"]
        words = {field: str(said[field]) for field in ("key", "scale", "box", "meter", "feel", "style", "by")}
        found.append({
            **words,
            "title": name, "source": source, "chapter": chapter.rpartition("/")[2],
            "number": in_chapter[chapter], "file-number": in_file[target], "book-number": number,
            "chapter-number": chapters[chapter],
            "level": "" if level is None else int(level), "tempo": "" if not tempo else round(float(tempo)),
        })  # fmt: skip
    return found


def _apart(folders: Sequence[str], stems: Sequence[str], more: Sequence[tuple[str, ...]]) -> list[str]:
    """Return names that differ within their folder: those that would be equal get their file, folder or title added, so that none depends on the order."""
    found = list(stems)
    for step in range(len(more[0]) if more else 0):
        groups: dict[tuple[str, str], list[int]] = {}
        for n, place in enumerate(zip(folders, found, strict=True)):
            groups.setdefault(place, []).append(n)
        for (_, stem), numbers in groups.items():
            if len({more[n][step] for n in numbers}) > 1:
                for n in numbers:
                    own = more[n][step]
                    found[n] = slug(f"{stem[: max(8, MAX_SLUG - len(own) - 1)]}-{own}")
    of_folder: dict[str, list[int]] = {}
    for n, folder in enumerate(folders):
        of_folder.setdefault(folder, []).append(n)
    for numbers in of_folder.values():  # what is cut to length may still be equal
        for n, name in zip(numbers, distinct_names([found[n] for n in numbers]), strict=True):
            found[n] = name
    return found
