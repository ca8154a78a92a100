"""How often the fingering engine puts a note where the author did, from pitches and times alone.

`python tests/bench/frets.py [FOLDER …]` prints, for the samples (or the licks below folders), the share of notes whose string and fret are the author's: with
the box given and without, for a half of the licks that the costs were fitted to and for the half that was held out.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Iterator
from hashlib import blake2b
from pathlib import Path
from typing import NamedTuple

from lickwright.compiler import compile_file
from lickwright.importers.fret_choice import PitchedNote, PitchMoment, choose_places
from lickwright.performance.tempo_map import written_tempo_map
from lickwright.timeline.model import SoundingNote, Timeline

SAMPLES = Path(__file__).parents[2] / "samples"
APART = 0.06  # seconds between grace notes


class Score(NamedTuple):
    """Notes that were put where the author did, of how many."""

    right: int = 0
    notes: int = 0

    def __add__(self, other: object) -> Score:
        assert isinstance(other, Score)
        return Score(self.right + other.right, self.notes + other.notes)

    @property
    def share(self) -> float:
        return self.right / max(1, self.notes)


def timelines(folders: list[Path]) -> Iterator[Timeline]:
    for path in sorted(path for folder in folders for path in folder.glob("**/*.lick")):
        for lick in compile_file(path).licks:
            if lick.timeline is not None and not lick.timeline.unknown:
                yield lick.timeline


def has_pitch(sound: SoundingNote) -> bool:
    return sound.kind in ("note", "grace") and sound.fret is not None and sound.head is None


def moments(timeline: Timeline) -> tuple[list[PitchMoment], list[list[SoundingNote]]]:
    """What sounds from each instant on, as pitches."""
    seconds = written_tempo_map(timeline).seconds
    settings = timeline.settings
    groups: defaultdict[tuple[int, int], list[SoundingNote]] = defaultdict(list)
    for sound in timeline.sounds:
        if has_pitch(sound):
            groups[sound.start, -sound.lead].append(sound)
    found = [
        PitchMoment(
            seconds(start) + APART * lead,
            max(seconds(sound.end) for sound in sounds),
            tuple(
                PitchedNote(settings.tuning.sounding[sound.string - 1] + settings.capo + (sound.fret or 0))
                for sound in sounds
            ),
        )
        for (start, lead), sounds in groups.items()
    ]
    return found, list(groups.values())


def score(timeline: Timeline, boxed: bool) -> Score:
    settings = timeline.settings
    area = settings.area
    box = area.places | area.blue if boxed and area is not None else None
    asked, sounds = moments(timeline)
    chosen = choose_places(asked, settings.tuning, settings.capo, settings.frets - settings.capo, box)
    right = notes = 0
    for group, places in zip(sounds, chosen, strict=True):
        for sound, place in zip(group, places, strict=True):
            notes += 1
            right += place == (sound.string, sound.fret)
    return Score(right, notes)


def half(timeline: Timeline) -> int:
    """0 for the licks that costs are fitted to, 1 for those held out."""
    return blake2b(timeline.title.encode(), digest_size=1).digest()[0] & 1


def main(folders: list[Path]) -> None:
    totals: defaultdict[tuple[str, int], Score] = defaultdict(Score)
    worst = []
    for timeline in timelines(folders):
        for boxed in (True, False):
            if boxed and timeline.settings.area is None:
                continue
            one = score(timeline, boxed)
            totals["box given" if boxed else "no box", half(timeline)] += one
            worst.append((one.share, one.notes, "box" if boxed else "no box", timeline.title))
    for name in ("box given", "no box"):
        fitted, held = totals[name, 0], totals[name, 1]
        both = fitted + held
        print(
            f"{name}: {both.share:.1%} of {both.notes} notes (fitted half {fitted.share:.1%}, held-out half {held.share:.1%})"
        )
    if "-v" in sys.argv:
        for share, notes, name, title in sorted(worst)[:24]:
            print(f"  {share:.0%} of {notes} {name} {title}")


if __name__ == "__main__":
    main([Path(one) for one in sys.argv[1:] if one != "-v"] or [SAMPLES])
