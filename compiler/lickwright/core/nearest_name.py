"""The name that was probably meant, for "did you mean".

In: a word, and the names that there are. Out: the nearest of them. Nothing is imported for it before something is wrong.
"""

from __future__ import annotations

from functools import lru_cache


def nearest_name(word: str, known: list[str] | tuple[str, ...]) -> str | None:
    """Return the known name most like `word`, for "did you mean"; None when nothing is near."""
    return _nearest(word.lower()[:40], tuple(known))


@lru_cache(maxsize=256)  # a file may hold one wrong word many thousand times
def _nearest(word: str, known: tuple[str, ...]) -> str | None:
    from difflib import get_close_matches  # slow to import; only needed when something is wrong

    lower = {name.lower(): name for name in known}
    match = get_close_matches(word, list(lower), n=1, cutoff=0.6)
    return lower[match[0]] if match else None
