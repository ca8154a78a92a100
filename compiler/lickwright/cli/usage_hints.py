"""Hints for options that are written wrong: one without its value, and one that does not exist.

In: a command and the words after it. Out: sentences in a player's words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import click

_VALUES = {  # what an option needs, by its metavar
    "TITLE": "a title", "WORDS": "words", "FILE": "a file", "DIR": "a folder", "DATE": "a date", "LIST": "a format",
    "TEMPO": "a tempo", "ADDRESS": "an address", "FIRST-LAST": "bars",
}  # fmt: skip


def missing_value(command: click.Command, words: Sequence[str]) -> str | None:
    """Return which option has another option or nothing where its value should be; None if each has its value.

    A value that begins with `--` is written `--book=--title`.
    """
    takes_value = {name: one for one in _options(command) if not (one.is_flag or one.count) for name in one.opts}
    rest = iter(words)
    for word in rest:
        if word == "--":
            return None
        if word in takes_value:
            value = next(rest, None)
            if value is None or value.startswith("--"):
                needed = _VALUES.get(takes_value[word].metavar or "", "a value")
                return f"{word} needs {needed}" + (f" before {value}" if value else "")
    return None


def unknown_option(command: click.Command | None, name: str, near: Sequence[str]) -> str:
    """Return what is said of an option that `command` does not have: the words that ask for the same, else the nearest names."""
    meant = _option_with_value(command, name.lstrip("-").lower()) if command is not None else None
    wish = meant or " or ".join(near)
    return f"there is no option {name}" + (f"; did you mean {wish}?" if wish else "")


def _option_with_value(command: click.Command, word: str) -> str | None:
    """Return the option and its value that a word alone stands for: `--paper letter` for `letter`."""
    from lickwright.export.option_parsing import format_meant

    for option in _options(command):
        if isinstance(option.type, click.Choice) and word in option.type.choices:
            return f"{option.opts[0]} {word}"
        if option.name == "rows" and (row := format_meant(word)):
            return f"--to {row}"
    return None


def _options(command: click.Command) -> Iterator[click.Option]:
    return (one for one in command.params if isinstance(one, click.Option))
