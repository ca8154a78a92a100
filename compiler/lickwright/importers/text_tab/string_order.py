"""Which string each line of a system is.

In: the labels of a system from top to bottom, and which strings the rest of the text shows. Out: a `StringOrder`. Labels go before the
order of the lines; a label that is lost or damaged is told from those around it. Labels that make no strings (a drum part, a chart) are
refused.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache
from itertools import product
from typing import NamedTuple

from lickwright.importers.text_tab.tunings import fitted_labels, label_pitch_class, nearest_pitches
from lickwright.music.tuning import TUNING_NAMES, parse_tuning

_NAME = re.compile(r"[A-Ha-h](?:[#b]|es|is)?|[EeAa]s|\d{1,2}")
_GUITAR = ("E", "B", "G", "D", "A", "E")
_SETS: tuple[tuple[str, ...], ...] = (  # of labels, thinnest first, as they are usual
    _GUITAR, ("G", "D", "A", "E"), ("G", "D", "A", "E", "B"), ("E", "B", "G", "D", "A", "E", "B"), ("E", "B", "G", "D", "A", "E", "B", "F#"),
)  # fmt: skip
_OTHER_INSTRUMENTS = (
    ("G", "D", "A", "E"),
    ("G", "D", "A", "E", "B"),
    ("C", "G", "D", "A", "E"),
)  # these alone are no guitar that lacks strings
_MOST_FITS = 3
_LEAST = 4  # strings


class StringOrder(NamedTuple):
    """The lines of one system as strings."""

    strings: tuple[int, ...]  # by line from the top: 1 is the thinnest
    size: int  # strings that the instrument has
    pitches: tuple[int, ...] | None = (
        None  # MIDI numbers from the thinnest, as the labels have them; None: they name none
    )
    missing: tuple[int, ...] = ()  # strings that have no line
    unsure: str = ""  # why a line may be another string


class NoStrings(Exception):
    """The labels of a system are those of no strings."""


def order_strings(
    labels: Sequence[str], known: Sequence[tuple[int, ...]], low_on_top: bool, has_frets: bool = True
) -> StringOrder:
    """Return which string each line is, by its labels, else by its place.

    `known` are the sets of strings that the rest of the text shows, each as pitch classes from the thinnest. A damaged label is forgiven
    to lines that have frets (`has_frets`). Raises NoStrings for labels that make no strings.
    """
    if not any(labels):
        return _unnamed(len(labels), known, low_on_top)
    if all(label.isdigit() or not label for label in labels):
        return _numbered(labels)
    names = [label if _NAME.fullmatch(label) and not label.isdigit() else "" for label in labels]
    damaged = names != list(labels)
    if sum(map(bool, names)) * 2 < len(labels) or (damaged and not has_frets):
        raise NoStrings(" ".join(filter(None, labels)))
    return _by_names(labels, known) if all(names) else _patched(names, known, low_on_top)


def _numbered(labels: Sequence[str]) -> StringOrder:
    """Return the order of lines with numbers; one that lost its number is the string between its neighbors."""
    written = [int(label) if label else 0 for label in labels]
    size = max(len(written), *written, 4)
    for counted in (list(range(1, len(written) + 1)), list(range(len(written), 0, -1))):
        if all(n in (0, k) for n, k in zip(written, counted, strict=True)):
            return StringOrder(tuple(counted), size)
    known = [n for n in written if n]
    if len(set(known)) < len(written) or size > 12:
        raise NoStrings(" ".join(labels))
    return StringOrder(tuple(written), size, missing=tuple(n for n in range(1, max(known) + 1) if n not in known))


def _unnamed(count: int, known: Sequence[tuple[int, ...]], low_on_top: bool) -> StringOrder:
    size = next((len(one) for one in known), 6)
    by_place = tuple(range(count, 0, -1)) if low_on_top else tuple(range(1, count + 1))
    if count == size:
        return StringOrder(by_place, count)
    if count < size and known:
        missing = tuple(range(count + 1, size + 1))
        return StringOrder(
            by_place, size, missing=missing, unsure=f"there are {count} lines for {size} strings, without names"
        )
    why = f"there are {count} lines without names"
    if count == 5 and not known:  # a guitar's tab that lost a line is likelier than a bass of five strings
        return StringOrder(by_place, 6, missing=(6,), unsure=why)
    return StringOrder(by_place, count, unsure=why)


def _patched(labels: Sequence[str], known: Sequence[tuple[int, ...]], low_on_top: bool) -> StringOrder:
    """Return the order of lines of which some have lost their label."""
    lost = "a line has no name, or a damaged one"
    wholes = (*known, *(tuple(map(label_pitch_class, names)) for names in _SETS))
    for whole, flipped in product(wholes, (False, True)):
        found = _fits(labels[::-1] if flipped else labels, whole)
        if found and (len(whole) == len(labels) or len(found) == 1):
            strings = tuple(reversed(found[0])) if flipped else found[0]
            sure = len(whole) == len(labels) and len(found) == 1
            missing = _without(strings, len(whole))
            return StringOrder(strings, len(whole), missing=missing, unsure="" if sure else lost)
    return _unnamed(len(labels), known, low_on_top)._replace(unsure=lost)


def _without(strings: Sequence[int], size: int) -> tuple[int, ...]:
    """Return the strings of an instrument of `size` that are not among `strings`."""
    return tuple(n for n in range(1, size + 1) if n not in strings)


def _in_order(count: int, flipped: bool) -> tuple[int, ...]:
    """Return the strings of as many lines, the thinnest first or (`flipped`) last."""
    return tuple(range(count, 0, -1)) if flipped else tuple(range(1, count + 1))


def _by_names(labels: Sequence[str], known: Sequence[tuple[int, ...]]) -> StringOrder:
    count = len(labels)
    fitted = min(
        filter(None, (fitted_labels(tuple(labels)), fitted_labels(tuple(labels[::-1]), True))),
        key=lambda fit: fit.off,
        default=None,
    )
    whole_set = fitted is not None and fitted.alike and _can_be_whole(labels)
    larger = [one for one in known if len(one) > count]
    if not whole_set or larger:
        partial = _partial(labels, larger or [one for one in _every_set() if len(one) > count])
        if partial is not None:
            return partial
    if fitted is None:
        return _with_a_wrong_name(labels, known)
    return StringOrder(_in_order(count, fitted.flipped), count, fitted.pitches)


def _can_be_whole(labels: Sequence[str]) -> bool:
    """Return whether labels are too many for an instrument that lacks strings, or those of another one."""
    return len(labels) >= 6 or tuple(label.upper() for label in labels) in _OTHER_INSTRUMENTS


def _with_a_wrong_name(labels: Sequence[str], known: Sequence[tuple[int, ...]]) -> StringOrder:
    """Return the order of lines that make strings but for one name. Raises NoStrings where they do not."""
    wholes = [whole for whole in (*known, *_every_set()) if len(whole) == len(labels) > _LEAST]
    for whole, k, flipped in product(wholes, range(len(labels)), (False, True)):
        names = [*labels[:k], "", *labels[k + 1 :]]
        if _fits(names[::-1] if flipped else names, whole):
            unsure = f"`{labels[k]}` is not the name of this string"
            return StringOrder(_in_order(len(labels), flipped), len(labels), nearest_pitches(whole), (), unsure)
    raise NoStrings(" ".join(labels))


def _partial(labels: Sequence[str], wholes: Sequence[tuple[int, ...]]) -> StringOrder | None:
    """Return the order of a system that lacks some strings of one of these sets; None where its labels are none of them."""
    for whole, flipped in product(wholes, (False, True)):
        names = labels[::-1] if flipped else labels
        found = _fits(names, whole)
        if found:
            best, unsure = _best_fit(names, found)
            strings = tuple(reversed(best)) if flipped else best
            return StringOrder(strings, len(whole), nearest_pitches(whole), _without(strings, len(whole)), unsure)
    return None


def _best_fit(labels: Sequence[str], found: Sequence[tuple[int, ...]]) -> tuple[tuple[int, ...], str]:
    """Return the way in which the sizes of labels E are right most often, and why it may be another one."""
    off = [_misplaced(labels, fit) for fit in found]
    unsure = "two strings have this name" if off.count(min(off)) > 1 else ""
    if len(labels) < 4 and {label.upper() for label in labels} <= set("GDAE"):
        unsure = "these may be strings of a guitar or of a bass"
    return found[off.index(min(off))], unsure


@lru_cache(maxsize=1)
def _every_set() -> tuple[tuple[int, ...], ...]:
    """Return the strings of the tunings that have names, and of guitars tuned down alike, as pitch classes from the thinnest: the likeliest first."""
    tunings = [parse_tuning(name) for name in TUNING_NAMES]
    sets = [
        tuple(pitch % 12 for pitch in tuning.sounding)
        for tuning in tunings
        if tuning.strings >= 6 and not tuning.is_bass
    ]
    sets += [tuple((pitch - shift) % 12 for pitch in one) for one in sets[:1] for shift in (3, 4)]
    return tuple(dict.fromkeys(sets))


def _fits(labels: Sequence[str], whole: tuple[int, ...]) -> list[tuple[int, ...]]:
    """Return the ways, at most a few, in which labels from the thinnest are some strings of a set in order; "" is any string."""
    found: list[tuple[int, ...]] = []

    def go_on(k: int, path: tuple[int, ...]) -> None:
        if len(found) >= _MOST_FITS:
            return
        if k == len(labels):
            found.append(path)
            return
        first = path[-1] if path else 0
        for at in range(first, len(whole) - (len(labels) - k) + 1):
            if not labels[k] or label_pitch_class(labels[k]) == whole[at]:
                go_on(k + 1, (*path, at + 1))

    if len(labels) <= len(whole):
        go_on(0, ())
    return found


def _misplaced(labels: Sequence[str], fit: Sequence[int]) -> int:
    """Return how many labels E have the wrong size: the thinnest string alone has a small letter."""
    return sum(
        (label == "e") != (string == 1) for label, string in zip(labels, fit, strict=True) if label in ("e", "E")
    )
