"""How fast licks are moved: `python tests/bench/moves.py`, about half a minute.

Every sample into all twelve keys and five boxes. Goal: one lick to all sixty places in 2 s. Prints the mean, and the
slowest licks with their notes.
"""

from __future__ import annotations

import time
from pathlib import Path

from lickwright.core.source import Source
from lickwright.notation.canonical import canonical_text
from lickwright.notation.syntax import parse_source
from lickwright.notation.tree import Book, Lick
from lickwright.timeline.build import build_timeline
from lickwright.transform.moves import MoveRequest, book_with_licks, move_lick

SAMPLES = Path(__file__).parents[2] / "samples"


def seconds(lick: Lick, book: Book, source: Source) -> tuple[float, int]:
    """This process's own time for all keys and boxes of one lick, the text of them included, and its number of notes."""
    start = time.process_time()
    timeline, _ = build_timeline(lick, book, source)
    assert timeline is not None and timeline.settings.key is not None
    keys = [str(timeline.settings.key.transposed(n)) for n in range(12)]
    family = [move_lick(lick, book, source, MoveRequest(key=key, box=box)).lick for key in keys for box in "12345"]
    canonical_text(book_with_licks(book, family))
    return time.process_time() - start, len(timeline.sounds)


def main() -> None:
    times = []
    for path in sorted(SAMPLES.glob("**/*.lick")):
        source = Source(str(path), path.read_text("utf-8"))
        book, _ = parse_source(source)
        times += [(*seconds(lick, book, source), lick.title) for lick in book.licks]
    print(f"{len(times)} licks, each to 60 places: {sum(t for t, *_ in times) / len(times):.2f} s in the mean")
    for took, notes, title in sorted(times, reverse=True)[:5]:
        print(f"  {took:.2f} s  {notes:3} notes as played  {title}")


if __name__ == "__main__":
    main()
