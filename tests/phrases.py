"""Pentatonic phrases as players make them up, for the key finder: made by rule, each with the key and box it was made in.

In: a seed. Out: a `Phrase`. The frets come from a table of the five fingerings, not from the program's own boxes. A
phrase is a chain of motifs that moves by step in its box, leans on chord tones on the beat, and comes to rest; it bends,
hammers on, slides into the next box, touches the blue note, and bends to the 2nd or 6th now and then. Even seeds may be
used to set weights by; odd seeds are held out.
"""

from __future__ import annotations

from random import Random
from typing import NamedTuple

Place = tuple[int, int]  # (string, fret), string 1 the thinnest

# Frets above the minor tonic on the low E string, from string 6 to 1: what method books print for boxes 1 to 5.
FINGERINGS = (
    ((0, 3), (0, 2), (0, 2), (0, 2), (0, 3), (0, 3)), ((3, 5), (2, 5), (2, 5), (2, 4), (3, 5), (3, 5)),
    ((5, 7), (5, 7), (5, 7), (4, 7), (5, 8), (5, 7)), ((7, 10), (7, 10), (7, 9), (7, 9), (8, 10), (7, 10)),
    ((10, 12), (10, 12), (9, 12), (9, 12), (10, 12), (10, 12)),
)  # fmt: skip
OPEN = {6: 40, 5: 45, 4: 50, 3: 55, 2: 59, 1: 64}  # MIDI numbers
LETTERS = {6: "E", 5: "A", 4: "D", 3: "G", 2: "B", 1: "e"}
NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")
MAJOR_NAMES = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
HIGHEST = 21

# Eighths of a motif; what adds up to a bar of eight or a half of it.
RHYTHMS = (
    (1, 1, 1, 1), (1, 1, 2), (2, 1, 1), (1, 2, 1), (2, 2), (3, 1), (1, 1, 1, 1), (1, 3),
)  # fmt: skip
RESTS = ((4,), (3,), (2,), (6,))


class Phrase(NamedTuple):
    """One phrase and where it was made."""

    text: str
    tonic: int  # pitch class
    minor: bool
    box: int  # 1 to 5, numbered as in minor
    second: int  # the box that it goes on to; 0: it stays
    low: int  # lowest fret of the box
    chords: bool  # a line of chords is given


class _Maker:
    """One phrase in the making."""

    def __init__(self, chance: Random) -> None:
        self.chance = chance
        self.heard: set[int] = set()  # degrees that were struck
        self.minor = self.chance.random() < 0.65
        self.tonic = self.chance.randrange(12)
        self.box = self.chance.choice((1, 1, 1, 2, 2, 3, 4, 4, 5))
        root = (self.tonic - (0 if self.minor else 3) - 4) % 12  # fret of the minor tonic on the low E string
        self.root = self.chance.choice([root + 12 * k for k in (-1, 0, 1) if self._fits(root + 12 * k)])
        self.second = self.box % 5 + 1 if self.chance.random() < 0.2 and self.box < 5 else 0
        if self.second and self._places(self.second)[-1][1] > HIGHEST:
            self.second = 0
        self.third = 3 if self.minor else 4
        # most phrases keep to some neighbouring strings
        self.top = self.chance.choice((1, 1, 1, 2, 3))
        self.bottom = min(6, self.top + self.chance.choice((2, 3, 3, 4, 5)))

    def _fits(self, root: int) -> bool:
        frets = [root + fret for string in FINGERINGS[self.box - 1] for fret in string]
        return min(frets) >= 1 and max(frets) <= HIGHEST

    def _places(self, box: int) -> list[Place]:
        """From the lowest pitch to the highest."""
        rows = FINGERINGS[box - 1]
        return [(6 - n, self.root + fret) for n, frets in enumerate(rows) for fret in frets]

    def _line(self, box: int) -> list[Place]:
        return [place for place in self._places(box) if self.top <= place[0] <= self.bottom]

    def degree(self, place: Place) -> int:
        """Semitones above the tonic, 0 to 11."""
        return (OPEN[place[0]] + place[1] - self.tonic) % 12

    def _nearest(self, line: list[Place], at: int, degree: int) -> int:
        with_it = [n for n, place in enumerate(line) if self.degree(place) == degree]
        return min(with_it, key=lambda n: abs(n - at)) if with_it else at

    def _move(self, line: list[Place], at: int, strong: bool) -> int:
        """The next note: a step or two away, on a strong beat more often one of the tonic chord."""
        step = self.chance.choice((-1, 1, -1, 1, -1, 1, -2, 2, 0))
        at = max(0, min(len(line) - 1, at + step))
        if strong and self.chance.random() < 0.45:
            near = [n for n in range(len(line)) if abs(n - at) <= 2 and self.degree(line[n]) in (0, self.third, 7)]
            at = self.chance.choice(near) if near else at
        return at

    def _bent(self, place: Place) -> str:
        """A bend as players make them here: up to the next note of the scale, at times to the 2nd or 6th; or ""."""
        degree = self.degree(place)
        usual = {3: 2, 5: 2, 10: 2} if self.minor else {2: 2, 9: 3, 7: 2}
        amount = usual.get(degree, 0)
        if self.minor and degree in (0, 7) and self.chance.random() < 0.35:
            amount = 2
        if not amount or place[0] > 3 or place[1] < 5 or place[1] + amount > 22:
            return ""
        return f"^{place[1] + amount}"

    def _motif(self, line: list[Place], at: int) -> tuple[list[str], int]:
        """Four eighths, and where they end."""
        words: list[str] = []
        before: Place | None = None
        beat = 0
        for length in self.chance.choice(RHYTHMS):
            at = self._move(line, at, beat % 2 == 0)
            place = line[at]
            self.heard.add(self.degree(place))
            string, fret = place
            joined = before is not None and before[0] == string and before[1] != fret and self.chance.random() < 0.5
            sign = ("h" if before is not None and fret > before[1] else "p") if joined else LETTERS[string]
            bend = self._bent(place) if self.chance.random() < 0.12 and not joined else ""
            shake = "~" if length > 1 and not bend and self.chance.random() < 0.3 else ""
            words.append(f"{sign}{fret}{bend}{shake}{'-' * (length - 1)}")
            before = None if bend else place
            beat += length
        return words, at

    def _blue(self, words: list[str], line: list[Place], at: int) -> list[str]:
        """Sometimes the blue note in passing, between the two notes about it on one string."""
        string, fret = line[at]
        blue = 6 if self.minor else 3
        if self.chance.random() < 0.12 and self.degree((string, fret - 1)) == blue:
            return (
                [*words[:-1], f"{LETTERS[string]}{fret - 1}", f"{LETTERS[string]}{fret}"]
                if words[-1].count("-") == 1
                else words
            )
        return words

    def make(self) -> Phrase:
        """The whole of it: two to four bars, the last with the note that it rests on."""
        line = self._line(self.box)
        at = self._nearest(line, self.chance.randrange(len(line)), self.chance.choice((0, 0, 7, self.third, 5, 10)))
        bars: list[str] = []
        many = self.chance.choice((1, 1, 2, 3))
        motif: list[str] = []
        for bar in range(many):
            if self.second and bar == max(0, many - 1):
                line = self._line(self.second)
                at = min(at, len(line) - 1)
            words: list[str] = []
            for _ in range(2):
                if motif and self.chance.random() < 0.2 and line == self._line(self.box):
                    words += motif  # said again
                    continue
                motif, at = self._motif(line, at)
                motif = self._blue(motif, line, at)
                words += motif
            bars.append(" ".join(words))
        words, at = self._motif(line, at)
        roll = self.chance.random()
        rest = (
            0
            if roll < 0.6
            else 7
            if roll < 0.75
            else self.third
            if roll < 0.87
            else self.chance.choice((5, 10) if self.minor else (2, 9))
        )
        at = self._nearest(line, at, rest)
        string, fret = line[at]
        bars.append(f"{' '.join(words)} {LETTERS[string]}{fret}{self.chance.choice(('', '~'))}---")
        name = (NAMES if self.minor else MAJOR_NAMES)[self.tonic]
        chords = self.chance.random() < 0.35
        head = f"chords {self._changes(name)}\n" if chords else ""
        text = f'lick "Phrase"\n{head}| {" | ".join(bars)} ||\n'
        low = min(fret for _, fret in self._places(self.box))
        return Phrase(text, self.tonic, self.minor, self.box, self.second, low, chords)

    def _changes(self, name: str) -> str:
        """One chord, or from the tonic to another and back."""
        names = NAMES if self.minor else MAJOR_NAMES
        fourth, fifth, flat = (names[(self.tonic + up) % 12] for up in (5, 7, 10))
        kind = self.chance.choice(("m", "m7") if self.minor else ("", "maj7", "7"))
        home = f"{name}{kind}"
        away = self.chance.choice((f"{fourth}m", f"{fifth}m", flat) if self.minor else (fourth, fifth, f"{fifth}7"))
        return self.chance.choice((home, f"{home} | {away} | {home}", f"{home} {away}", f"{home} | {away}"))


def phrase(seed: int) -> Phrase:
    """The phrase of one seed, the same on every machine.

    It has four of the five notes, the tonic among them: with fewer, nobody could tell what it was made in.
    """
    chance = Random(f"phrase {seed}")
    while True:
        maker = _Maker(chance)
        made = maker.make()
        if len(maker.heard) >= 4 and 0 in maker.heard:
            return made
