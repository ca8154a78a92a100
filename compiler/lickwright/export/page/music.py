"""The music of a lesson page: the drawings of which the page's style shows the one that fits the width.

In: a lowered lick. Out: `Markup`.
"""

from __future__ import annotations

from lickwright.export import LoweredLick, Options
from lickwright.export import tab as text_tab
from lickwright.export.page.markup import Markup, el

_WIDTH = 72  # characters of a line of tab


def drawings(stages: LoweredLick) -> list[Markup]:
    """Return the text tab of the lick, which is all the drawing that there is."""
    text = text_tab.emit(stages, Options(width=_WIDTH)).data.decode("utf-8")
    return [el("pre", text)]
