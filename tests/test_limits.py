"""The neck's limits, which the notation, the box line and the command share."""

from __future__ import annotations

import re
from pathlib import Path

import click
import pytest

from lickwright.cli import box, make
from lickwright.compiler import compile_text
from lickwright.compiler.rules import find_rule
from lickwright.config.setting_rows import BY_PLACE
from lickwright.export import option_parsing
from lickwright.music.boxspec import parse_box
from lickwright.music.fretboard import MAX_CAPO, MAX_FRET, USUAL_FRETS
from lickwright.settings.fields import BY_NAME, Settings

PACKAGE = Path(__file__).parents[1] / "compiler" / "lickwright"


def _reads(field: str, fret: int) -> bool:
    try:
        BY_NAME[field].parse(str(fret))
    except ValueError:
        return False
    return True


def _codes(fret: int) -> set[str]:
    return {d.code for d in compile_text(f'frets {MAX_FRET}\nlick "Gate"\n| e{fret} - - - - - - - |\n').diagnostics}


def test_the_highest_fret_is_one_number_everywhere() -> None:
    for fret in (MAX_FRET, MAX_FRET + 1):
        allowed = fret <= MAX_FRET
        assert _reads("frets", fret) == allowed
        assert ("L113" not in _codes(fret)) == allowed
        if allowed:
            assert parse_box(f"frets 30-{fret}").window == (30, fret)
        else:
            with pytest.raises(ValueError, match=f"0 to {MAX_FRET}"):
                parse_box(f"frets 30-{fret}")
    limits = find_rule("L113")
    assert limits is not None and f"frets 0 to {MAX_FRET}" in limits.explanation


def test_the_command_that_draws_boxes_has_the_fields_limits() -> None:
    options = {one.name: one for one in box.command.params}
    for name, most, usual in (("frets", MAX_FRET, USUAL_FRETS), ("capo", MAX_CAPO, 0)):
        kind = options[name].type
        assert isinstance(kind, click.IntRange) and kind.max == most and options[name].default == usual
        assert _reads(name, most) and not _reads(name, most + 1)
        assert getattr(Settings, "__dataclass_fields__")[name].default == usual  # noqa: B009 (mypy knows no such attribute)


def test_the_number_stands_once_in_the_program() -> None:
    found = [
        path.name
        for path in PACKAGE.rglob("*.py")
        for line in path.read_text("utf-8").splitlines()
        if re.search(rf"\b(?i:\w*frets?\w*)\b[^#\"]*(?:=|,) *\b{MAX_FRET}\b", line)
    ]
    assert [name for name in found if name != "svg.py"] == ["fretboard.py"]  # a picture has 36 pixels somewhere


def test_a_command_and_a_house_ask_for_the_same_limits() -> None:
    options = {one.name: one.type for one in make.command.params}
    for name, (least, most) in (
        ("width", option_parsing.WIDTHS), ("jobs", option_parsing.JOBS), ("count_in", option_parsing.COUNT_INS), ("repeat", option_parsing.REPEATS),
        ("longest", option_parsing.LONGEST),
    ):  # fmt: skip
        kind = options[name]
        assert isinstance(kind, click.IntRange) and (kind.min, kind.max) == (least, most)
        parse = BY_PLACE["make", name.replace("_", "-")].parse
        assert [parse(value) for value in (least, most)] == [least, most]
        for value in (least - 1, most + 1):
            with pytest.raises(ValueError, match=f"{least:,} to {most:,}"):
                parse(value)
