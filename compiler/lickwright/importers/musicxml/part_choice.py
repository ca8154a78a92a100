"""The parts of a score, and which of them is read.

In: the root of a document. Out: the measures of each part, and the index of the one that is asked for or looks most like a guitar.
"""

from __future__ import annotations

from collections.abc import Sequence

from lickwright.core.unreadable import Unreadable
from lickwright.importers.draft import Doubt
from lickwright.importers.musicxml.heading import part_sound
from lickwright.importers.rules import TRACK_CHOSEN
from lickwright.importers.xml_tree import XmlElement

_MOST_NAMES = 8  # parts that a doubt lists by name
_GUITARS = ("guitar", "gtr", "bass", "ukulele", "banjo")


def score_parts(root: XmlElement) -> list[tuple[str, list[XmlElement]]]:
    """Return the id of each part and its measures. Raises `Unreadable` where the document is no score."""
    if root.tag not in ("score-partwise", "score-timewise"):
        raise Unreadable(
            f"the file is XML, but no MusicXML score: it begins with `{root.tag[:40]}`", "export it as MusicXML"
        )
    found: dict[str, list[XmlElement]] = {}
    if root.tag == "score-partwise":
        for part in root.all("part"):
            found.setdefault(part.get("id"), []).extend(part.all("measure"))
    else:
        for measure in root.all("measure"):
            for part in measure.all("part"):
                part.attributes = {**measure.attributes, **part.attributes}
                found.setdefault(part.get("id"), []).append(part)
    if not any(found.values()):
        raise Unreadable("the score has no measures", "export it again")
    return list(found.items())


def chosen_part(root: XmlElement, parts: Sequence[tuple[str, list[XmlElement]]], asked: str) -> tuple[int, list[Doubt]]:
    """Return the index of the part to be read, and what is left. Raises `Unreadable` for a part that is not there."""
    names = [part_sound(root, part_id)[0] or part_id for part_id, _ in parts]
    if asked:
        wanted = [n for n, one in enumerate(names) if asked in (str(n + 1), one) or asked.lower() == one.lower()]
        if not wanted:
            listed = ", ".join(f"{n} {one}" for n, one in enumerate(names[:_MOST_NAMES], 1))
            raise Unreadable(f"the score has no part `{asked[:40]}`", f"its parts are {listed}")
        return wanted[0], []
    index = max(range(len(parts)), key=lambda n: _playable(parts[n][1], names[n]))
    others = [one for n, one in enumerate(names) if n != index]
    if not others:
        return index, []
    more = ", …" if len(others) > _MOST_NAMES else ""
    message = f"part {index + 1}, {names[index]}, is read; left: {', '.join(others[:_MOST_NAMES])}{more}"
    return index, [Doubt(TRACK_CHOSEN, message, "name another with --track")]


def _playable(measures: Sequence[XmlElement], name: str) -> tuple[bool, bool, int]:
    """Return what makes a part the one to read: strings and frets, a guitar's name, many notes."""
    notes = [note for measure in measures for note in measure.all("note") if note.first("rest") is None]
    stringed = any(note.first("notations/technical/string") is not None for note in notes)
    guitar = any(word in name.lower() for word in _GUITARS)
    return stringed, guitar and bool(notes), len(notes)
