"""The systems of a text: strings that stand together, one under another, and the rows around them.

In: cleaned lines. Out: `TabSystem`s, top line first, each with the lines above and below it, and the lines that belong to none. What was mended on
the way (a line that a mailer broke, blank lines between the strings, a string that is missing) is said of the system. Which line is which
string is for `tunings.py`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence

from lickwright.core.fast_dataclass import mutable_record
from lickwright.importers.text_tab.string_lines import StringLine, fragment, numbered_lines, string_line
from lickwright.importers.text_tab.text_lines import LONG_DASHES, TextLine, expand_dashes, joined_line

LEAST, MOST = 4, 8  # strings
_MOST_ROWS = 12  # above or below one system
_NAMES = {  # labels from top to bottom, as they are usual, in capitals
    6: ("EBGDAE", "EADGBE"), 7: ("EBGDAEB",), 8: ("EBGDAEBF#",), 4: ("GDAE",), 5: ("GDAEB", "CGDAE")
}  # fmt: skip


@mutable_record
class TabSystem:
    """Strings one under another."""

    rows: list[StringLine]  # top to bottom
    above: list[TextLine]  # nearest last
    below: list[TextLine]  # nearest first
    joined: bool = False  # lines that a mailer broke were put together
    spread: bool = False  # other lines stood between its strings
    dashes: tuple[int, int] = (1, 1)  # how many dashes a long dash (em, en) stands for
    long_dashes: bool = False
    side_by_side: bool = False  # another system stands on the same lines

    @property
    def first(self) -> int:
        """The number of its first line."""
        return self.rows[0].line.number

    @property
    def last(self) -> int:
        """The number of its last line."""
        return self.rows[-1].last

    @property
    def has_frets(self) -> bool:
        """True if a digit stands on one of its strings."""
        return _have_frets(self.rows)


Run = list[StringLine]
_SPACE = re.compile(r"[-_=\s]{2}|[—–]")  # between two notes of a string, or where it has none


def find_systems(lines: Sequence[TextLine]) -> list[TabSystem]:
    """Return the systems of a text, in order."""
    runs = list(_runs(lines))
    systems: list[TabSystem] = []
    for run, spread in _spread_runs(runs, lines):
        rows, joined = _unwrapped(run)
        for part in _split(_trimmed(rows)):
            if _is_system(part):
                system = TabSystem(numbered_lines(part), [], [], joined, spread)
                _straighten(system)
                systems.append(system)
    _add_rows_around(systems, lines)
    return systems


def _runs(lines: Sequence[TextLine]) -> Iterator[Run]:
    """Yield strings on consecutive lines; pieces of broken strings are kept between them."""
    run: Run = []
    for line in lines:
        found = string_line(line)
        if found is None and run and fragment(line):
            found = StringLine(line, "", len(line.text) - len(line.text.lstrip()), False)
        if found is not None:
            run.append(found)
        elif run:
            yield run
            run = []
    if run:
        yield run


def _spread_runs(runs: Sequence[Run], lines: Sequence[TextLine]) -> Iterator[tuple[Run, bool]]:
    """Yield runs; those whose strings are apart from each other, by blank lines or one line of something else, as one."""
    k = 0
    while k < len(runs):
        run, spread = list(runs[k]), False
        k += 1
        while k < len(runs) and _go_together(run, runs[k], lines):
            run += runs[k]
            spread = True
            k += 1
        yield run, spread


def _go_together(run: Run, other: Run, lines: Sequence[TextLine]) -> bool:
    between = lines[run[-1].last + 1 : other[0].line.number]
    if len(between) > 2 or len(run) + len(other) > MOST or len(run) >= 6:
        return False
    labels = [row.label.upper() for row in (*run, *other)]
    if all(labels):
        if _complete(labels[: len(run)]) and len(run) >= LEAST:
            return False
        whole = "".join(labels)
        return any(whole in names for group in _NAMES.values() for names in group) or _counts(labels)
    blank = all(not line.text.strip() for line in between)
    return blank and not any(labels) and len(other) == 1 and (len(run) == 1 or len(run) < 6)


def _complete(labels: Sequence[str]) -> bool:
    return "".join(labels) in _NAMES.get(len(labels), ())


def _counts(labels: Sequence[str]) -> bool:
    return all(label.isdigit() for label in labels) and [int(x) for x in labels] == list(range(1, len(labels) + 1))


# --- broken lines ----------------------------------------------------------------------------------------------------


def _unwrapped(run: Run) -> tuple[Run, bool]:
    """Return a run whose strings were broken by a mailer with each string whole again, and whether that was so."""
    if len(run) < 2 * LEAST:
        return run, False
    if run[0].label:
        digits = run[0].label.isdigit()
        starts = [k for k, row in enumerate(run) if row.label and row.label.isdigit() == digits]
        pieces = [b - a for a, b in zip(starts, [*starts[1:], len(run)], strict=True)]
        if len(starts) >= LEAST and len(set(pieces)) == 1 and pieces[0] in (2, 3):
            return _rejoined(run, pieces[0]), True
        return run, False
    texts = [row.line.text.rstrip() for row in run]
    if len(run) % 2 == 0 and _are_pieces(texts[0::2], texts[1::2]):
        return _rejoined(run, 2), True
    return run, False


def _are_pieces(first: Sequence[str], second: Sequence[str]) -> bool:
    """Return True if lines in turn are the first and the second pieces of strings: each kind equally long, and only the second ends with bar lines."""
    lengths, others = {len(text) for text in first}, {len(text) for text in second}
    if max(lengths) - min(lengths) > 1 or max(others) - min(others) > 1 or lengths == others:
        return False
    if all(text.startswith("|") for text in first) and not any(text.startswith("|") for text in second):
        return True
    ended = sum(text.endswith("|") for text in first), sum(text.endswith("|") for text in second)
    return max(others) < min(lengths) or (ended[0] * 2 < len(first) and ended[1] * 2 > len(second))


def _rejoined(run: Run, size: int) -> Run:
    found = []
    for k in range(0, len(run), size):
        line = run[k].line
        for piece in run[k + 1 : k + size]:
            line = joined_line(line, piece.line)
        found.append(run[k]._replace(line=line, likely=True, until=run[k + size - 1].line.number))
    return found


# --- one system ------------------------------------------------------------------------------------------------------


def _trimmed(run: Run) -> Run:
    """Return a run without the lines at its edges that are not like its other strings: rulers, rows of counts with dashes."""
    labeled = sum(bool(row.label) for row in run)
    if labeled >= LEAST or (labeled and labeled * 2 > len(run)):
        like = next(row for row in run if row.label)
        return _without_edges(run, 0, lambda row, _: not row.label and not _like_string(row, like))
    return _without_edges(
        run, 6, lambda row, other: (row.ruler or not row.likely) and abs(len(row.line.text) - len(other.line.text)) > 4
    )


def _without_edges(run: Run, least: int, is_foreign: Callable[[StringLine, StringLine], bool]) -> Run:
    """Return a run without the lines at both ends that are foreign beside their neighbor; at least so many stay."""
    while len(run) > max(least, 1) and is_foreign(run[0], run[1]):
        run = run[1:]
    while len(run) > max(least, 1) and is_foreign(run[-1], run[-2]):
        run = run[:-1]
    return run


def _like_string(row: StringLine, other: StringLine) -> bool:
    """Return True if a line without a label is built like one that has one: as many bar lines, as long."""
    a, b = row.line.text.rstrip(), other.line.text.rstrip()
    bars = abs(a.count("|") - b.count("|")) <= 1 and (a.count("|") > 1 or b.count("|") < 2)
    return row.likely and bars and abs(len(a) - len(b)) <= 3


def _split(run: Run) -> Iterator[Run]:
    """Yield the systems of a run: where labels begin again, else equal shares."""
    count = len(run)
    if not count:
        return
    labels = [row.label.upper() for row in run]
    if all(labels):
        for size in range(LEAST, MOST + 1):
            if count % size == 0 and count > size and labels[:size] * (count // size) == labels:
                yield from (run[k : k + size] for k in range(0, count, size))
                return
        if count > MOST:
            yield from _at_labels(run, labels)
            return
    elif count > MOST:
        size = next((size for size in (6, 4, 7, 5, 8) if count % size == 0), 6)
        yield from (run[k : k + size] for k in range(0, count, size))
        return
    yield run


def _at_labels(run: Run, labels: Sequence[str]) -> Iterator[Run]:
    start = 0
    while start < len(run):
        size = next(
            (
                size
                for size in (6, 7, 8, 5, 4)
                if "".join(labels[start : start + size]) in _NAMES[size] and start + size <= len(run)
            ),
            min(6, len(run) - start),
        )
        yield run[start : start + size]
        start += size


def _is_system(run: Run) -> bool:
    """Return True for what can be read as strings: enough of them, or fewer with their names."""
    likely = sum(row.likely for row in run)
    labeled = sum(bool(row.label) for row in run)
    if LEAST <= len(run) <= MOST:
        if not labeled and not (_have_frets(run) if likely < len(run) else _have_space(run)):
            return False  # a drawing, or numbers with hyphens between them
        return likely * 2 >= len(run) or labeled == len(run)
    if len(run) >= 2 and labeled == len(run) and likely == len(run):
        names = "".join(row.label.upper() for row in run)
        return any(_subsequence(names, whole) for whole in _NAMES[6]) and len(names) == len(run)
    return False


def _have_frets(run: Run) -> bool:
    return any(char.isdigit() for row in run for char in row.line.text[row.body :])


def _have_space(run: Run) -> bool:
    return any(_SPACE.search(row.line.text) for row in run)


def _subsequence(part: str, whole: str) -> bool:
    rest = iter(whole)
    return all(char in rest for char in part)


def _straighten(system: TabSystem) -> None:
    """Decide how many dashes a long dash stands for: as many as make the strings equally long."""
    if not any(dash in row.line.text for row in system.rows for dash in LONG_DASHES):
        return
    system.long_dashes = True

    def uneven(counts: tuple[int, int]) -> tuple[int, int]:
        lengths = [
            len(row.line.text.rstrip())
            + row.line.text.count("—") * (counts[0] - 1)
            + row.line.text.count("–") * (counts[1] - 1)
            for row in system.rows
        ]
        usual = sorted(lengths)[len(lengths) // 2]
        return sum(abs(length - usual) for length in lengths), abs(counts[0] - 2) + abs(counts[1] - 1)

    system.dashes = min(((em, en) for em in (1, 2, 3) for en in (1, 2)), key=uneven)
    system.rows = [row._replace(line=expand_dashes(row.line, *system.dashes)) for row in system.rows]


def _add_rows_around(systems: Sequence[TabSystem], lines: Sequence[TextLine]) -> None:
    """Give each system the lines that touch it from above and below; between two systems, the nearer one."""
    if not systems:
        return
    for before, system in zip((None, *systems), systems, strict=False):
        end = before.last if before is not None else -1
        k = system.first - 1
        blanks = 0
        while k > end:
            text = lines[k].text.strip()
            if not text:
                blanks += 1
                if blanks > 1 or system.above:
                    break
            else:
                system.above.insert(0, lines[k])
                if len(system.above) >= _MOST_ROWS:
                    break
            k -= 1
    for system, after in zip(systems, (*systems[1:], None), strict=True):
        end = after.first if after is not None else len(lines)
        k = system.last + 1
        while k < end and lines[k].text.strip() and len(system.below) < _MOST_ROWS:
            system.below.append(lines[k])
            k += 1
