"""The box in which notes without strings and frets are to be played.

In: the fields of a lick. Out: the places of its box, None where no box can be meant.
"""

from __future__ import annotations

from collections.abc import Mapping

from lickwright.music.box_area import box_area
from lickwright.music.boxspec import parse_box
from lickwright.music.fretboard import USUAL_FRETS, Place
from lickwright.music.pitch import parse_key
from lickwright.music.tuning import Tuning


def box_places(fields: Mapping[str, str], tuning: Tuning) -> frozenset[Place] | None:
    """Return the places of the box that the fields `box`, `key` and `scale` mean, flat fifths included; None for no box, or one that cannot be read."""
    from lickwright.music.scale import parse_scale

    if not fields.get("box"):
        return None
    try:
        key = parse_key(fields["key"]) if fields.get("key") else None
        scale = parse_scale(fields["scale"], key) if key is not None and fields.get("scale") else None
        area = box_area(parse_box(fields["box"]), key, scale, tuning, USUAL_FRETS)
    except ValueError:
        return None
    return None if area is None else area.places | area.blue
