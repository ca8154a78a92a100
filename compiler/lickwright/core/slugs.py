"""Titles: which are the same, and the file names made from them.

In: any title. Out: a name that is safe on every system: lower-case ASCII letters, digits and hyphens, at most `MAX_SLUG`
characters, and none that a system reserves. Nothing here reads a disk.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from importlib import import_module

MAX_SLUG = 60  # characters, which are bytes here; leaves room for a suffix and a path
_RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])\Z")  # device names on some systems, with any suffix
_SAFE = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*\Z")
_SHARP = re.compile(r"\b([A-Ga-g])#")


def same_title(title: str, wanted: str) -> bool:
    """Return True if two titles are one: capitals and the number of spaces do not count."""
    return fold_title(title) == fold_title(wanted)


def fold_title(title: str) -> str:
    """Return a title as it is compared: equal for titles that are one."""
    return " ".join(title.split()).casefold()


def slug(title: str, readable: bool = True) -> str:
    """Return the file name of a title: `porch-light` for `Porch light!`.

    A title in another script is written in Latin letters where the extra `lickwright[names]` is installed (`kalinka` for
    `Калинка`). Without it, or with `readable` false, which gives the same name on every machine, a title with nothing to
    keep becomes `lick-` and a short hash of itself.
    """
    if len(title) <= MAX_SLUG and _SAFE.match(title) and not _RESERVED.match(title):
        return title  # the quick way for the names of files, which have this form already
    text = title if title.isascii() else _ascii(title, readable)
    text = _SHARP.sub(r"\1 sharp ", text.replace("'", ""))
    name = re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:MAX_SLUG].rstrip("-")
    if not name:
        return f"lick-{_hash(title)}"
    return f"lick-{name}" if _RESERVED.match(name) else name


def _ascii(title: str, readable: bool) -> str:
    """Return a title in ASCII: accents are removed; what has no Latin letter is transliterated, or left out."""
    from unicodedata import normalize  # only needed beyond plain ASCII

    text = normalize("NFKD", title.replace("♯", "#").replace("♭", " flat ").replace("ß", "ss"))
    if readable and any(char.isalpha() and not char.isascii() for char in text):
        try:
            text = str(import_module("anyascii").anyascii(text))
        except ImportError:  # the extra `names` is not installed
            pass
    return text.encode("ascii", "ignore").decode()


def _hash(title: str) -> str:
    from lickwright.core.digest import blake2b

    return blake2b(title.encode("utf-8", "surrogatepass"), digest_size=4).hexdigest()


def distinct_names(names: Sequence[str], held: Iterable[str] = ()) -> tuple[str, ...]:
    """Return the names with later equals numbered: `x`, `x-3`, `x-2` for `x`, `x`, `x-2`.

    A name that occurs once is never changed by another, unless it is one of those `held` already.
    """
    seen = set(held)
    taken = seen.union(names)
    numbers: dict[str, int] = {}  # the next number to try for a name: so that ten thousand equal titles are quick
    result = []
    for name in names:
        chosen = name
        if name in seen:
            number = numbers.get(name, 2)
            while (chosen := f"{name}-{number}") in taken or chosen in seen:
                number += 1
            numbers[name] = number + 1
        seen.add(chosen)
        result.append(chosen)
    return tuple(result)
