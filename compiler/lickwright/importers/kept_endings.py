"""First and second endings that a lick can have, of those that were read.

In: bars with their signs. Out: the bars with the endings that have both their halves: a first that ends with a repeat, and a second right after it.
"""

from __future__ import annotations

from collections.abc import Sequence

from lickwright.core.fast_dataclass import replace
from lickwright.importers.draft import DraftBar


def kept_endings(bars: Sequence[DraftBar]) -> tuple[list[DraftBar], int]:
    """Return the bars, and how many endings are no longer marked since their other half is missing."""
    kept: set[int] = set()
    for n, bar in enumerate(bars):
        if bar.ending == 1:
            last = next((k for k in range(n, len(bars)) if bars[k].repeat_end or (k > n and bars[k].ending)), len(bars))
            if last + 1 < len(bars) and bars[last].repeat_end and bars[last + 1].ending == 2:
                kept |= {n, last + 1}
    lost = [n for n, bar in enumerate(bars) if bar.ending and n not in kept]
    return [replace(bar, ending=0) if n in lost else bar for n, bar in enumerate(bars)], len(lost)
