"""Text tabs made up by chance in many hands' styles, with the notes that they hold.

In: a random source. Out: `TabCase`s. A style is how strings are named, how far notes stand apart, where frets of two digits stand, how
techniques are written, and what mail, web pages and word processors made of it.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from random import Random
from typing import NamedTuple

from text_tab_corpus import TabCase

NAMES = ("eBGDAE", "EBGDAE", "ebgdae", "123456", "")
Drawn = tuple[str, tuple[str, ...]]  # what stands on the string, and the notes that it is


class Style(NamedTuple):
    """How one writer types."""

    names: str
    after: str  # between a string's name and the string
    gap: int
    join: str  # around `h` and `p`
    slide: str
    right: bool  # numbers of two digits stand to the left of those of one
    bars: bool
    closed: bool


def made_style(chance: Random) -> Style:
    """A style."""
    return Style(
        chance.choice(NAMES), chance.choice(["", "", " "]), chance.choice([1, 2, 3]), chance.choice(["", "", "", "-"]), chance.choice("//s"),
        chance.random() < 0.5, chance.random() < 0.7, chance.random() < 0.7,
    )  # fmt: skip


def drawn_note(chance: Random, fret: int, style: Style) -> Drawn:
    """One note, with a technique or without, or two that are connected."""
    up, down = fret + chance.choice([2, 3]), fret - chance.choice([2, 3])
    kinds: list[Drawn] = [(str(fret), (f"{fret}",))] * 8
    kinds += [
        (f"{fret}{style.join}h{style.join}{up}", (f"{fret}", f"h{up}")), (f"{fret}{style.slide}{up}", (f"{fret}", f"/{up}")),
        (chance.choice("xX"), ("x",)), ("<12>", ("<12>",)), (f"{fret}{'~' * chance.choice([1, 2, 3])}", (f"{fret}~",)),
    ]  # fmt: skip
    if fret > 4:
        kinds += [
            (f"{fret}{style.join}p{style.join}{down}", (f"{fret}", f"p{down}")), (f"{fret}\\{down}", (f"{fret}", f"\\{down}")),
            (f"{fret}b{fret + 2}", (f"{fret}b2",)), (f"{fret}b({fret + 2})", (f"{fret}b2",)), (f"{fret}bfull", (f"{fret}b2",)),
            (f"{fret}b1/2", (f"{fret}b1",)), (f"{fret}b{fret + 2}r{fret}", (f"{fret}b2r0",)),
        ]  # fmt: skip
    return chance.choice(kinds)


def made_system(chance: Random, style: Style) -> tuple[list[str], list[str]]:
    """The six strings of one system, and the notes on them."""
    rows, notes = [""] * 6, []
    for _ in range(chance.randint(1, 4) if style.bars else 1):
        rows = [f"{row}|-" if style.bars or (not row and style.names) else f"{row}-" for row in rows]
        for _ in range(chance.randint(2, 8)):
            strings = sorted(chance.sample(range(6), chance.choice([1, 1, 1, 1, 2, 3])))
            cells = {s: drawn_note(chance, chance.randint(0, 15), style) for s in strings}
            if len(cells) > 1:
                cells = {s: (str(fret), (str(fret),)) for s in strings for fret in [chance.randint(0, 15)]}
            width = max(len(text) for text, _ in cells.values())
            for s in range(6):
                text = cells[s][0] if s in cells else ""
                text = text.rjust(width, "-") if style.right and len(cells) > 1 else text.ljust(width, "-")
                rows[s] += text + "-" * style.gap
            notes += [f"{s + 1}:{note}" for s in strings for note in cells[s][1]]
            more = "-" * chance.choice([0, 0, 0, 0, 1, 2, 3])
            rows = [row + more for row in rows]
    end = "|" if style.bars or style.closed else ""
    names = [f"{name}{style.after}" for name in style.names] or [""] * 6
    return [f"{name}{row}{end}" for name, row in zip(names, rows, strict=True)], notes


def plain(chance: Random, systems: list[list[str]]) -> str:
    """Systems with a blank line between them."""
    return "\n\n".join("\n".join(system) for system in systems) + "\n"


def quoted(chance: Random, systems: list[list[str]]) -> str:
    return "".join(f"> {line}\n" for line in plain(chance, systems).split("\n"))


def indented(chance: Random, systems: list[list[str]]) -> str:
    return "".join(f"\t{line}\n" for line in plain(chance, systems).split("\n"))


def wrapped(chance: Random, systems: list[list[str]]) -> str:
    """As a mail program breaks long lines."""
    broken = [[f"{line[:60]}\n{line[60:]}" if len(line) > 64 else line for line in system] for system in systems]
    return plain(chance, broken)


def on_a_web_page(chance: Random, systems: list[list[str]]) -> str:
    return f"<html><pre>\n{escape(plain(chance, systems))}</pre></html>\n"


def with_prose(chance: Random, systems: list[list[str]]) -> str:
    return (
        "Evening walk\n\n" + "\nand then\n\n".join("\n".join(system) + "\n" for system in systems) + "\nlet me know\n"
    )


def from_a_word_processor(chance: Random, systems: list[list[str]]) -> str:
    return plain(chance, systems).replace("--", "—").replace("\n", "\r\n")


DRESSES: tuple[Callable[[Random, list[list[str]]], str], ...] = (
    plain, quoted, indented, wrapped, on_a_web_page, with_prose, from_a_word_processor,
)  # fmt: skip


def made_tab(seed: int) -> TabCase:
    """A tab of one to three systems."""
    chance = Random(seed)
    style, dress = made_style(chance), chance.choice(DRESSES)
    systems, notes = [], []
    for _ in range(chance.randint(1, 3)):
        rows, some = made_system(chance, style)
        systems.append(rows)
        notes += some
    return TabCase(f"{seed}, {dress.__name__}, {style}", dress(chance, systems).encode(), tuple(notes), {})
