"""The table of navigation marks: segno, coda, Fine, To Coda and the jumps back, as print has them.

A mark stands at the start or at the end of a bar and takes no time. `timeline/navigation.py` works out the order of bars.
"""

from __future__ import annotations

from lickwright.core.fast_dataclass import record

_CODA = "without repeats, and from To Coda on to Coda"


@record
class NavigationMark:
    """One row of the table."""

    sign: str  # as typed after `@`
    printed: str  # as it stands over the strings
    opens: bool = False  # it stands at the start of its bar; else at the end
    target: str = ""  # for a jump, what it goes back to: "start" or "segno"
    until: str = ""  # for a jump, the mark that is obeyed after it: "fine", "to-coda", or "" where it does not say
    sentence: str = ""  # the legend's explanation


# fmt: off
NAVIGATION: tuple[NavigationMark, ...] = (
    NavigationMark("segno", "Segno", opens=True, sentence="D.S. goes back to here"),
    NavigationMark("coda", "Coda", opens=True, sentence="the ending, which To Coda goes on to"),
    NavigationMark("to-coda", "To Coda", sentence="after the jump back, go on at Coda"),
    NavigationMark("fine", "Fine", sentence="the end, after the jump back"),
    NavigationMark("dc", "D.C.", target="start", sentence="go back to the start, once; repeats are not played again"),
    NavigationMark("dc-al-fine", "D.C. al Fine", target="start", until="fine", sentence="go back to the start and play to Fine, without repeats"),
    NavigationMark("dc-al-coda", "D.C. al Coda", target="start", until="to-coda", sentence=f"go back to the start, {_CODA}"),
    NavigationMark("ds", "D.S.", target="segno", sentence="go back to Segno, once; repeats are not played again"),
    NavigationMark("ds-al-fine", "D.S. al Fine", target="segno", until="fine", sentence="go back to Segno and play to Fine, without repeats"),
    NavigationMark("ds-al-coda", "D.S. al Coda", target="segno", until="to-coda", sentence=f"go back to Segno, {_CODA}"),
)
# fmt: on
BY_SIGN = {mark.sign: mark for mark in NAVIGATION}
