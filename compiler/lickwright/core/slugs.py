"""Titles that people write: which are the same, and the names of files made from them.

In: any title. Out: a name that is safe on every system (lower-case ASCII letters, digits and hyphens, at most
`LONGEST` characters, none that some system reserves). Nothing here looks at a disk.
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
    """Whether two titles are one: capitals and how many spaces do not count."""
    return fold_title(title) == fold_title(wanted)


def fold_title(title: str) -> str:
    """A title as it is compared: equal for titles that are one."""
    return " ".join(title.split()).casefold()


def slug(title: str, readable: bool = True) -> str:
    """`Porch light!` → `porch-light`.

    A title in another script is written in Latin letters where the extra `lickwright[names]` is installed (`Калинка` → `kalinka`). Without it, or
    without `readable`, which gives the same on every machine, a title with nothing to keep becomes `lick-` and a short hash of itself.
    """
    if len(title) <= MAX_SLUG and _SAFE.match(title) and not _RESERVED.match(title):
        return title  # thousands of files are named so already
    text = title if title.isascii() else _ascii(title, readable)
    text = _SHARP.sub(r"\1 sharp ", text.replace("'", ""))
    name = re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:MAX_SLUG].rstrip("-")
    if not name:
        return f"lick-{_hash(title)}"
    return f"lick-{name}" if _RESERVED.match(name) else name


def _ascii(title: str, readable: bool) -> str:
    """A title in ASCII: accents are taken off; what has no Latin letter in it is transliterated, or left out."""
    from unicodedata import normalize  # only wanted beyond plain ASCII

    text = normalize("NFKD", title.replace("♯", "#").replace("♭", " flat ").replace("ß", "ss"))
    if readable and any(char.isalpha() and not char.isascii() for char in text):
        try:
            text = str(import_module("anyascii").anyascii(text))
        except ImportError:  # it comes with the extra
            pass
    return text.encode("ascii", "ignore").decode()


def _hash(title: str) -> str:
    from hashlib import blake2b

    return blake2b(title.encode("utf-8", "surrogatepass"), digest_size=4).hexdigest()


def distinct_names(names: Sequence[str], held: Iterable[str] = ()) -> tuple[str, ...]:
    """The same names, later equals numbered:

    `x`, `x`, `x-2` → `x`, `x-3`, `x-2`. A name that occurs once is never changed by another, unless it is one of those `held` by somebody else.
    """
    seen = set(held)
    taken = seen.union(names)
    numbers: dict[str, int] = {}  # the next number to try for a name: ten thousand equal titles stay quick
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
