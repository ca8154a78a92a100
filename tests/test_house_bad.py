"""Bad lickwright.toml files: every mistake at once and in its place, whatever the file holds, and never a mistake of ours.

A file of `tests/house` says on each line what is wrong there: `# error: L702`. Beside it lies the report that a user sees. After a wanted change of
words, `python tests/test_house_bad.py` writes the reports anew: read them before they are committed.
"""

from __future__ import annotations

import os
import random
import re
import string
import tomllib
from collections import Counter
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from effort import calls, seconds
from lickwright.config.discovery import FILE, ProjectConfig, ProjectConfigs
from lickwright.config.reading import MAX_BYTES, MOST, parse_project_config, read_project_config
from lickwright.config.setting_rows import SECTIONS, SETTINGS
from lickwright.config.toml_spans import DEPTH, toml_names
from lickwright.core.source import Source
from lickwright.report.console import format_findings
from lickwright.settings.fields import FIELDS
from lickwright.settings.project_rules import RULES

BAD = sorted((Path(__file__).parent / "house").glob("*.toml"))
CLAIM = re.compile(r"error: (L7[0-9]{2})")


def made(path: Path) -> ProjectConfig:
    return parse_project_config(Source(path.name, path.read_text("utf-8")))


def report(path: Path) -> str:
    one = made(path)
    return format_findings(one.source, one.findings)


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_all_claimed_all_met(path: Path) -> None:
    lines = path.read_text("utf-8").splitlines()
    claimed = Counter((n, code) for n, line in enumerate(lines, 1) for code in CLAIM.findall(line))
    one = made(path)
    assert Counter((one.source.position(d.span.start).line, d.code) for d in one.findings) == claimed


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_the_report_reads_as_it_did(path: Path) -> None:
    assert report(path) == path.with_suffix(".report.txt").read_text("utf-8")


def test_every_rule_about_the_file_is_met() -> None:
    assert {rule.code for rule in RULES} == {code for path in BAD for code in CLAIM.findall(path.read_text("utf-8"))}


def test_what_is_right_is_kept_beside_what_is_wrong() -> None:
    one = made(Path(__file__).parent / "house" / "settings.toml")
    assert (set(one.fields), one.severities) == ({"capo"}, {"L303": "info"})
    assert one.unread == {"meter", "by", "source", "tags", "frets", "key", "scale", "tuning", "level", "rights"}


def test_it_is_told_in_a_players_words() -> None:
    said = " ".join(f"{d.message} {d.hint}" for path in BAD for d in made(path).findings).lower()
    words = set(re.findall("[a-z]+", said))
    assert not words & {
        "key",
        "table",
        "array",
        "token",
        "parse",
        "parser",
        "syntax",
        "string",
        "integer",
        "boolean",
        "toml",
        "escape",
    } - {"key"}


# --- every name: its right place, its nearest name, its wrong value ---------------------------------------------------


@pytest.mark.parametrize("row", SETTINGS, ids=lambda row: f"{row.section}.{row.name}")
def test_a_name_that_is_nearly_right_is_known_again(row: Any) -> None:
    wrong = row.name[:-1] + ("x" if len(row.name) < 3 else row.name[-1] * 2)
    head = f"[{row.section}]\n" if row.section else ""
    (found,) = parse_project_config(Source(FILE, f'{head}{wrong} = "1"\n')).findings
    assert found.code == "L702"
    if len(row.name) > 2:
        assert f"did you mean `{row.name}`" in (found.hint or "")


@pytest.mark.parametrize("row", SETTINGS, ids=lambda row: f"{row.section}.{row.name}")
def test_a_name_in_the_wrong_section_is_sent_home(row: Any) -> None:
    for section in ("", *SECTIONS):
        if (
            section != row.section
            and section != "findings"
            and (section, row.name) not in {(r.section, r.name) for r in SETTINGS}
        ):
            head = f"[{section}]\n" if section else ""
            (found,) = parse_project_config(Source(FILE, f'{head}{row.name} = "1"\n')).findings
            assert found.code == "L702"
            assert (f"[{row.section}]" if row.section else "at the top") in (found.hint or "")


@pytest.mark.parametrize(
    "value",
    [
        '""',
        "[[]]",
        "{}",
        "[[1]]",
        "1979-05-27T07:32:00Z",
        "nan",
        "-inf",
        "99999999999999999999",
        "[1979-05-27]",
        "{a = 1}",
    ],
)
def test_no_value_of_any_kind_is_a_mistake_of_ours(value: str) -> None:
    for row in SETTINGS:
        head = f"[{row.section}]\n" if row.section else ""
        one = parse_project_config(Source(FILE, f"{head}{row.name} = {value}\n"))
        accepted = row.parse.__name__ == "parse" and row.section == "fields" and value in ("nan", "-inf")
        assert [d.code for d in one.findings] == ["L703"] or accepted, row
        for d in one.findings:
            assert one.source.position(d.span.start).line == head.count("\n") + 1, row


# --- hostile ---------------------------------------------------------------------------------------------------------

HOSTILE = {
    "brackets": "a = " + "[" * 30_000,
    "braces": "a = " + "{b=" * 20_000,
    "dots": "a." * 30_000 + "a = 1",
    "sections": "[a" + ".a" * 30_000 + "]",
    "many names": "".join(f"k{n} = 1\n" for n in range(5_000)),
    "many codes": "[findings]\n" + "".join(f'L{n:03} = "x"\n' for n in range(1_000)),
    "a long list": "required = [" + '"x",' * 15_000 + "]",
    "digits": "a = " + "9" * 60_000,
    "quotes": 'a = """' + '"' * 60_000,
    "one quote": '"' * 60_000,
    "backslashes": 'a = "' + "\\" * 60_000,
    "nulls": "\0" * 60_000,
    "returns": "\r" * 60_000,
    "a long word": "x" * 60_000,
    "a long title": "[" + "x" * 60_000 + "]",
    "long value": '[fields]\nby = "' + "x" * 60_000 + '"',
    "wrong lines": "width 100\n" * 5_000,
    "surrogates": '[fields]\nby = "\\ud800"\n',
    "bidi": '[fields]\nby = "\u202e\u2066"\n',
    "own names": "__class__ = 1\n[fields]\n__init__ = 1\n",
    "every sign": "".join(map(chr, range(1, 0x300))),
    "lists of sections": "[[a]]\n" * 10_000,
    "empty name": '"" = 1\n[fields]\n"" = 1\n',
}


def reported(text: str) -> tuple[ProjectConfig, str]:
    one = parse_project_config(Source(FILE, text))
    return one, format_findings(one.source, one.findings)


@cache
def plain_lines(measure: Callable[[Callable[[], object]], float]) -> float:
    """What it takes to read plain lines."""
    return measure(lambda: reported(HOSTILE["many names"]))


@pytest.mark.parametrize("measure", [calls, pytest.param(seconds, marks=pytest.mark.slow)])
@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files_end_in_findings_soon(name: str, measure: Callable[[Callable[[], object]], float]) -> None:
    """Soon: for ten times the work of a file of as many plain lines with unknown names at most; measured: for as much as that."""
    made: list[tuple[ProjectConfig, str]] = []
    assert measure(lambda: made.append(reported(HOSTILE[name]))) < 10 * plain_lines(measure)
    one, text = made[0]
    assert len(one.findings) <= MOST
    assert name in ("long value", "returns") or not one.ok
    assert all(char == "\n" or char.isprintable() for char in text)


@pytest.mark.parametrize(
    "data", [b"\xff\xfe[\0", b"\x80", b"[make]\nwidth = \xff", b"#" * (MAX_BYTES + 1), os.urandom(3000)]
)
def test_bytes_that_are_no_text(tmp_path: Path, data: bytes) -> None:
    (tmp_path / FILE).write_bytes(data)
    one = read_project_config(str(tmp_path / FILE), FILE)
    assert [d.code for d in one.findings] == ["L602"]
    assert "lickwright.toml: error:" in format_findings(one.source, one.findings)


def test_things_that_are_no_files(tmp_path: Path) -> None:
    (tmp_path / "folder" / FILE).mkdir(parents=True)
    for name in ("circle", "pipe", "gone"):
        (tmp_path / name).mkdir()
    (tmp_path / "circle" / FILE).symlink_to(FILE)
    os.mkfifo(tmp_path / "pipe" / FILE)
    (tmp_path / "gone" / FILE).symlink_to("nowhere")
    houses = ProjectConfigs()
    for name in ("folder", "circle", "pipe"):
        one = houses.find(str(tmp_path / name))
        assert one is not None and [d.code for d in one.findings] == ["L601"], name
    assert houses.find(str(tmp_path / "gone")) is None
    assert houses.find("\0") is None


def test_marks_of_other_systems_do_no_harm(tmp_path: Path) -> None:
    (tmp_path / FILE).write_bytes(b'\xef\xbb\xbf[fields]\r\nby = "Mara"\r\nmeter = "4"\r\n')
    one = read_project_config(str(tmp_path / FILE), FILE)
    assert one.fields["by"].text == "Mara"
    (found,) = one.findings
    assert one.source.position(found.span.start) == (3, 10)


def test_damaged_files_never_bring_a_mistake_of_ours() -> None:
    whole = (Path(__file__).parent / "house" / "settings.toml").read_text("utf-8")
    signs = random.Random(7)
    for _ in range(400):
        at, length = signs.randrange(len(whole)), signs.randrange(1, 30)
        put = "".join(signs.choice("[]{}\"'=#.\\\n ab1") for _ in range(signs.randrange(4)))
        one = parse_project_config(Source(FILE, whole[:at] + put + whole[at + length :]))
        format_findings(one.source, one.findings)
        for d in one.findings:
            assert 0 <= d.span.start <= d.span.end <= max(1, len(one.source.text) + 1)


# --- places of names -------------------------------------------------------------------------------------------------

NAMES = st.one_of(st.text(string.ascii_letters + string.digits + "-_", min_size=1, max_size=6), st.text(max_size=4))
SCALARS = st.one_of(
    st.booleans(), st.integers(-10**6, 10**6), st.floats(allow_nan=False), st.text(max_size=12), st.dates(), st.datetimes()
)  # fmt: skip
VALUES = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=3), max_leaves=6
)


def quoted(text: str, draw: random.Random) -> str:
    """As TOML, in one of its ways."""
    plain = all(char.isprintable() for char in text) and not set(text) & set("'\\")
    ways = ['"' + "".join(c if c.isprintable() and c not in '"\\' else f"\\U{ord(c):08X}" for c in text) + '"']
    if plain:
        ways += [f"'{text}'"]
    if plain and '"' not in text:
        ways += [f'"""{text}"""', f"'''\n{text}'''"]
    return draw.choice(ways)


def name(text: str, draw: random.Random) -> str:
    if re.fullmatch("[A-Za-z0-9_-]+", text) and draw.random() < 0.8:
        return text
    return '"' + "".join(c if c.isprintable() and c not in '"\\' else f"\\U{ord(c):08X}" for c in text) + '"'


def written(value: Any, draw: random.Random) -> str:
    gap = draw.choice(["", " ", "\n  ", " # a ] remark\n"])
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return quoted(value, draw)
    if isinstance(value, list):
        return "[" + gap + ("," + gap).join(written(one, draw) + draw.choice(["", " "]) for one in value) + gap + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{name(key, draw)} = {written(one, draw)}" for key, one in value.items()) + " }"
    return str(value)


def leaves(value: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    if path:
        yield path, value
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, one in inner:
        yield from leaves(one, (*path, key))


@given(
    st.dictionaries(NAMES, VALUES, max_size=4),
    st.dictionaries(NAMES, st.dictionaries(NAMES, VALUES, max_size=3), max_size=2),
    st.randoms(use_true_random=False),
)
def test_every_name_stands_where_it_is_said_to(
    top: dict[str, Any], sections: dict[str, Any], draw: random.Random
) -> None:
    """The text at a value's place, read alone, is that value."""
    text = "".join(f"{name(key, draw)} = {written(value, draw)} # = ]\n" for key, value in top.items())
    for key, values in sections.items():
        if key not in top:
            text += f"\n[ {name(key, draw)} ]\n" + "".join(
                f"{name(k, draw)}={written(v, draw)}\n" for k, v in values.items()
            )
    read = tomllib.loads(text)
    found = toml_names(text)
    for path, value in leaves(read):
        if len(path) > DEPTH:
            continue
        where = found[path]
        part = path[-1]
        if isinstance(part, str):
            assert next(iter(tomllib.loads(f"{text[slice(*where.name)]} = 1"))) == part
        if not (isinstance(value, dict) and text[where.value.start] != "{"):  # a section's value is its name
            assert tomllib.loads(f"x = {text[slice(*where.value)]}") == {"x": value}
    assert {path for path in found if len(path) <= DEPTH} == {path for path, _ in leaves(read) if len(path) <= DEPTH}


def test_the_reference_names_every_field_that_can_be_set() -> None:
    assert {row.name for row in SETTINGS if row.section == "fields"} == {r.name for r in FIELDS} - {
        "notation",
        "note",
        "meant",
    }


if __name__ == "__main__":
    for one in BAD:
        one.with_suffix(".report.txt").write_text(report(one), "utf-8")
