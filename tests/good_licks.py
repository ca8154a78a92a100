"""Good licks, made up: varied files in which nothing is wrong, as the ground that mistakes are planted in.

In: a `random.Random`. Out: the text of a file. Every note lies in a minor pentatonic window of four frets, every bar adds up, so that the checker
has nothing to say about one. How they sound is of no interest here.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from random import Random

OPEN = {"E": 40, "A": 45, "D": 50, "G": 55, "B": 59, "e": 64}  # MIDI numbers
KEYS = {"A": 9, "B": 11, "C": 0, "D": 2, "E": 4, "G": 7}
PENTATONIC = {0, 3, 5, 7, 10}
METERS = {"4/4": 8, "3/4": 6, "6/8": 6, "12/8": 12}  # eighths a bar
TITLES = ("Porch", "Gravel", "Lantern", "Ferry", "Copper", "Willow", "Harbor", "Thistle", "Mill", "Ember")
CHORDS = ("7", "m", "m7")


@dataclass
class Neck:
    """The frets of one window that belong to the scale, by string, lowest first."""

    frets: dict[str, list[int]]
    chance: Random
    at: int = 3  # where the hand is, as an index into the strings: it goes on to one nearby

    def _move(self, choices: str = "EADGBe") -> str:
        order = sorted(("EADGBe".index(s) for s in choices), key=lambda n: abs(n - self.at))
        return "EADGBe"[self.chance.choice([n for n in order if abs(n - self.at) <= 2] or order[:1])]

    def note(self) -> tuple[str, int]:
        string = self._move()
        return string, self.chance.choice(self.frets[string])

    def pair(self) -> tuple[str, int, int]:
        """Two frets of one string, the lower first."""
        string = self._move("".join(s for s in "EADGBe" if len(self.frets[s]) > 1))
        low, high = sorted(self.chance.sample(self.frets[string], 2))
        return string, low, high

    def two(self) -> str:
        """Two strings at once."""
        upper = self._move("ADGBe")
        lower = "EADGBe"["EADGBe".index(upper) - 1]
        return f"{upper}{self.chance.choice(self.frets[upper])}&{lower}{self.chance.choice(self.frets[lower])}"


def _neck(key: int, low: int, chance: Random) -> Neck:
    return Neck(
        {
            string: [f for f in range(low, low + 4) if (pitch + f - key) % 12 in PENTATONIC]
            for string, pitch in OPEN.items()
        },
        chance,
    )


def _figure(neck: Neck, left: int) -> tuple[str, int]:
    """A few signs and the steps that they take, at most `left`."""
    chance = neck.chance
    string, fret = neck.note()
    note = f"{string}{fret}"
    joined, low, high = neck.pair()
    one = [note] * 8 + [".", f"{note}~", f"{note}!", f"{note}?", f"{note},", f"{note}'{chance.randint(1, 4)}"]
    one += [f"{string}x", f"(snap: {note})", neck.two(), f"@{chance.choice(['mf', 'p', 'f'])} {note}", f"{note}="]
    one += [f"(grace: {joined}{low}) {joined}{high}", f"(trill: {joined}{low}h{high})"]
    two = [f"{note}-", f"{note} -", f"{joined}{low}h{high}", f"{joined}{high}p{low}", f"{joined}{low}/{high}"]
    two += [f"{joined}{high}\\{low}", f"{joined}{low} h{high}", "..", f"{note} ."]
    two += [f"{joined}{high} p{low}~", f"{neck.two()} {note}", f"3[{note} {joined}{low}h{high}]", f". {note}"]
    three = [f"{joined}{low}h{high}p{low}", f"{note}--", f"(pm: {note} {note} {note})"]
    if joined in "GBe" and low > 3:  # where a hand bends with ease
        two += [f"{joined}{low}^{high} -r"]
        three += [f"{joined}{low}^{high}r --"]
    four = [f"(up: {note} {note}) {neck.two()} -", f"3[{note} {note} {note}] 3[{note} - {note}]", f"{note}---~"]
    figure, taken = chance.choice([(f, n) for n, fs in enumerate((one, two, three, four), 1) if n <= left for f in fs])
    strings = re.findall(r"([EADGBe])[\dx]", figure)
    neck.at = "EADGBe".index(strings[-1]) if strings else neck.at
    return figure, taken


def _bar(neck: Neck, steps: int) -> str:
    out, left = [], steps
    while left:
        figure, taken = _figure(neck, left)
        out.append(figure)
        left -= taken
    return " ".join(out)


def _music(neck: Neck, steps: int) -> list[str]:
    """Lines of a lick's music."""
    chance = neck.chance
    bars = [_bar(neck, steps) for _ in range(chance.randint(2, 6))]
    if chance.random() < 0.15:
        bars.insert(1, "%")
    shape = chance.random()
    if shape < 0.25:
        half = len(bars) // 2
        return [f"|: {' | '.join(bars[:half])} :|{chance.choice(['', 'x3'])}", f"{' | '.join(bars[half:])} ||"]
    if shape < 0.4:
        return [f"|: {' | '.join(bars)} |1st {_bar(neck, steps)} :|2nd {_bar(neck, steps)} ||"]
    if shape < 0.6:
        return [f"| {bar} |" for bar in bars[:-1]] + [f"| {bars[-1]} ||"]
    return [f"| {' | '.join(bars)} ||"]


def _lick(chance: Random, title: str, step: str) -> list[str]:
    key = chance.choice(list(KEYS))
    meter = chance.choice(list(METERS))
    at_root = (KEYS[key] - 4) % 12 or 12
    first = chance.random() < 0.6
    low = at_root if first else chance.randint(2, 14)
    fields = [f"key {key} minor", "scale minor pentatonic", "box 1" if first else f"box frets {low}-{low + 3}"]
    fields += [f"meter {meter}"] if meter != "4/4" or chance.random() < 0.3 else []
    more = [
        f"tempo {chance.randint(50, 180)}", "level 3", "tags answer, turnaround", "sound lead",
        f"chords {key}m | {key}{chance.choice(CHORDS)}", "feel shuffle", "note Lay back on the last one.",
        "reach large", "style blues",
    ]  # fmt: skip
    fields += chance.sample(more, chance.randint(2, 5))
    chance.shuffle(fields)
    steps = METERS[meter] * (2 if step == "1/16" else 1)
    return [f'lick "{title}"', *fields, *_music(_neck(KEYS[key], low, chance), steps), ""]


def good_file(chance: Random) -> str:
    """A file of some licks."""
    step = chance.choice(["1/8", "1/8", "1/16"])
    lines = ["# practice sheet", "by Mara Quill", "rights all rights reserved", f"step {step}", "tuning standard", ""]
    for title in chance.sample(TITLES, chance.randint(3, 8)):
        lines += _lick(chance, f"{title} {chance.randint(1, 99)}", step)
    return "\n".join(lines) + "\n"
