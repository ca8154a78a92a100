"""Licks made up by chance in which notes last in every way that the notation knows.

In: a random source. Out: the music of one lick and its fields: held voices, bends held under notes, rings, ties over bar
lines, repeats with endings, rests, tuplets. Every bar is full and every connection has its source.
"""

from __future__ import annotations

from random import Random

STRINGS = "EADGBe"


def made_lick(chance: Random) -> tuple[str, tuple[str, ...]]:
    """The music of one to five bars, and fields."""
    beats = chance.randint(2, 4)
    maker = _Maker(chance)
    bars = [maker.bar(beats, first=n == 0) for n in range(chance.randint(1, 5))]
    shape = chance.randrange(5)
    if shape == 0:
        music = f"|: {' | '.join(bars)} :|x{chance.randint(2, 3)}"
    elif shape == 1 and len(bars) > 2:
        music = f"|: {' | '.join(bars[:-2])} |1st {bars[-2]} :|2nd {bars[-1]} ||"
    elif shape == 2 and len(bars) > 1:
        music = f"| (ring: {' | '.join(bars)}) ||".replace("(ring: (ring:", "(ring: (pm:")
    else:
        music = f"| {' | '.join(bars)} ||"
    return music, (f"meter {beats}/4",)


class _Maker:
    def __init__(self, chance: Random) -> None:
        self._chance = chance

    def bar(self, beats: int, first: bool) -> str:
        """Quarters, the first of a later bar perhaps held over, or the same bar again."""
        if not first and self._chance.random() < 0.1:
            return "%"
        tied = [] if first or self._chance.random() < 0.6 else [self._chance.choice(["- -", "- .", f"- {self.note()}"])]
        return " ".join([*tied, *(self.quarter() for _ in range(beats - len(tied)))])

    def fret(self, least: int = 0) -> int:
        return self._chance.randint(least, 15)

    def note(self, string: str = "") -> str:
        end = self._chance.choice(["", "", "", "", "~", "!", "?", "=", "^full", ","])
        return f"{string or self._chance.choice(STRINGS)}{self.fret()}{end}"

    def quarter(self) -> str:
        """Two eighths, or what takes as long."""
        low, middle, high = sorted(self._chance.sample(STRINGS, 3), key=STRINGS.index)
        fret, other, third = self.fret(), self.fret(), self.fret(6)
        made = [
            f"{self.note()} {self.note()}",
            f"{self.note()} -",
            f"{self.note()} .",
            f". {self.note()}",
            f"{low}{fret}&{high}{other} {low}-&{high}{third}",
            f"{low}{fret}&{middle}{other}&{high}{third} {low}-&{middle}-&{high}5",
            f"{low}{fret}&{high}{other} {high}-&{middle}{third}?",
            f"{low}{fret}&{high}{other} {low}-",
            f"{low}{fret}&{high}5 {high}h{third}",
            f"{low}{fret}&{high}5 h{high}{third}",
            f"{low}{fret}&{high}5 /{high}{third}",
            f"{low}{fret}&{high}{third}^full {low}-",
            f"{low}{fret}= {high}{other}",
            f"{low}{fret}=&{high}{other} {middle}{third}",
            f"{low}{fret}=&{high}{other}= {middle}{third}",
            f"{low}{fret}= {low}.",
            f"{low}{fret}&{high}{other} {low}.",
            f"{low}{fret}= {low}.&{middle}{third}",
            f"{low}{third}^full {high}{other}&{low}-",
            f"{low}{third}^full {high}{other}&{low}-r",
            f"{low}{third}^^full&{high}{other} {low}-&{high}{other}",
            f"{low}{third}^full&{high}{third}^full {low}-&{middle}{other}",
            f"{low}{third}^{third + 2}r{third + 1} {high}{other}&{low}-",
            f"{low}{third}^full -r",
            f"(ring: {low}{fret} {high}{other})",
            f"(ring: {low}{fret} .)",
            f"(ring: {low}{fret}) {high}{other}",
            f"(pm: {low}{fret} {low}{fret})",
            f"(grace: {low}{fret}) {low}{other} {high}{third}",
            f"(grace: {low}{fret}) {low}{other}&{high}5 {low}-&{high}{third}",
            f"3[{low}{fret} {middle}{other} {high}{third}]",
            f"3[{low}{fret} {low}-&{middle}{other} {low}-&{high}{third}]",
            f"1/16 {low}{fret} - {low}-&{middle}{other} {low}-&{high}{third} 1/8",
            f"6:4[1/16 {low}{fret} - {low}-&{middle}{other} - {high}{third} -]",
            f"5:4[1/16 {low}{third}^full {low}-&{middle}{other} - {high}{third} -]",
        ]
        return self._chance.choice(made)
