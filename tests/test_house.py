"""House style: found upwards, below what a lick and its file say, above the defaults; every name of the table does something.

After a change of its rows, `python tests/test_house.py` writes the table of `grammar/house.md` anew.
"""

from __future__ import annotations

import json
import os
import pickle
import subprocess
import sys
from fractions import Fraction
from itertools import product
from pathlib import Path
from typing import Any

import click
import pytest

from effort import steps
from lickwright import compile_file, compile_text
from lickwright.cli import main
from lickwright.cli.command_group import group
from lickwright.cli.project_options import preferred_values
from lickwright.compiler.rules import all_rules
from lickwright.config.discovery import FILE, ProjectConfig, ProjectConfigs, find_house
from lickwright.config.reading import parse_project_config
from lickwright.config.setting_rows import SETTINGS, SEVERITIES, settings_table
from lickwright.core.source import Source
from lickwright.export import Options
from lickwright.music.custom_sound import SOUND_SETTINGS, SoundSetting, read_sound, sound_settings_table
from lickwright.music.instruments import INSTRUMENTS
from lickwright.settings.fields import FIELDS, Settings

RULES = all_rules()

PAGE = (Path(__file__).parents[1] / "grammar" / "house.md").read_text("utf-8")
MUSIC = "| e8 e5 B8 e5 G7 - - - ||\n"


def styled(text: str) -> ProjectConfig:
    """A house without mistakes in it."""
    made = parse_project_config(Source(FILE, text))
    assert made.ok, [d.message for d in made.findings]
    return made


def settings(text: str, style: ProjectConfig | None = None) -> Settings:
    timeline = compile_text(text, project=style).licks[0].timeline
    assert timeline is not None
    return timeline.settings


# --- what overrides what ---------------------------------------------------------------------------------------------

# Three values for each field: the house's, the file's, the lick's; none of them the default.
VALUES: dict[str, tuple[str, str, str]] = {
    "key": ("A minor", "D dorian", "F# major"),
    "scale": ("blues", "dorian", "1 b3 4 5 b7"),
    "box": ("1", "open", "frets 5-8"),
    "tempo": ("90", "1/4. = 66", "72"),
    "meter": ("3/4", "12/8", "7/8 2+2+3"),
    "pickup": ("1/4", "1/8", "3/8"),
    "step": ("1/16", "1/4", "1/2"),
    "feel": ("shuffle", "swing 5:3", "swing 1/16"),
    "chords": ("Am", "Dm", "Em | Am"),
    "tuning": ("drop D", "open G", "DADGAD"),
    "capo": ("1", "2", "3"),
    "frets": ("24", "21", "19"),
    "reach": ("small", "large", "small"),
    "sound": ("crunch", "lead", "nylon"),
    "numbering": ("tonic", "relative", "tonic"),
    "level": ("1", "2", "3"),
    "tags": ("a", "b", "c"),
    "style": ("blues", "country", "rock"),
    "by": ("Mara Quill", "Wren Castellowe", "Ode Tamsin"),
    "rights": ("hers", "theirs", "nobody's"),
    "source": ("the shelf", "the attic", "the cellar"),
    "from": ("Porch light", "Back stairs", "Attic"),
}


def valued(found: Settings, name: str) -> Any:
    """The value of a field, whose attribute has its name but for `from`."""
    return getattr(found, "origin" if name == "from" else name)


def read(name: str, value: str) -> Any:
    """The value as it is when a lick says it."""
    head = "" if name == "key" else "key A minor\n"
    return valued(settings(f'{head}lick "a"\n{name} {value}\n{MUSIC}'), name)


def test_every_field_of_the_table_has_values_here() -> None:
    assert list(VALUES) == [row.name for row in SETTINGS if row.section == "fields"]
    assert set(VALUES) == {row.name for row in FIELDS if not row.repeats and not row.head_only}


@pytest.mark.parametrize("name", VALUES)
def test_the_lick_comes_before_the_file_before_the_house_before_the_default(name: str) -> None:
    ours, files, licks = VALUES[name]
    style = styled(f"[fields]\n{name} = {json.dumps(ours)}\n" + ("" if name == "key" else 'key = "A minor"\n'))
    plain = styled("[fields]\n" + ("" if name == "key" else 'key = "A minor"\n'))
    lick = f'lick "a"\n{MUSIC}'
    default = valued(settings(lick, plain), name)
    values = [read(name, value) for value in VALUES[name]]
    assert default != values[0] != values[1] != values[2], "else nothing would be seen"
    assert valued(settings(lick, style), name) == values[0]
    assert valued(settings(f"{name} {files}\n{lick}", style), name) == values[1]
    assert valued(settings(f'lick "a"\n{name} {licks}\n{MUSIC}', style), name) == values[2]
    assert valued(settings(f'{name} {files}\nlick "a"\n{name} {licks}\n{MUSIC}', style), name) == values[2]


@pytest.mark.parametrize("name", VALUES)
def test_a_value_that_cannot_be_read_counts_as_not_written(name: str) -> None:
    style = styled(
        f"[fields]\n{name} = {json.dumps(VALUES[name][0])}\n" + ("" if name == "key" else 'key = "A minor"\n')
    )
    found = settings(f'lick "a"\n{name}\n{MUSIC}', style)
    assert valued(found, name) == read(name, VALUES[name][0])
    assert name in found.unread


def test_the_command_lines_tempo_is_above_all() -> None:
    style = styled("[fields]\ntempo = 90\n")
    (lick,) = compile_text(f'lick "a"\n{MUSIC}', project=style).licks
    assert lick.timing()[1].at_s == pytest.approx(60 / 90 / 2, abs=0.001)  # the second eighth
    assert lick.timing(Options(tempo_bpm=Fraction(72)))[1].at_s == pytest.approx(60 / 72 / 2, abs=0.001)


def test_numbers_may_stand_without_quotes() -> None:
    style = styled("[fields]\ntempo = 92\ncapo = 2\nbox = 1\nfrets = 24\n")
    found = settings(f'lick "a"\n{MUSIC}', style)
    assert (found.capo, found.frets, str(found.box), found.tempo) == (2, 24, "1", read("tempo", "92"))


# --- findings show the house's line ----------------------------------------------------------------------------------


def notes(text: str, style: ProjectConfig, code: str) -> list[str]:
    return [
        f"{note.source.name if note.source else 'here'}:{(note.source or c.source).position(note.span.start).line} {note.message}"
        for c in [compile_text(text, project=style)]
        for d in c.diagnostics
        if d.code == code
        for note in d.notes
    ]


def test_a_finding_says_that_the_house_set_it() -> None:
    style = styled(
        '[fields]\nmeter = "3/4"\nfrets = 12\ncapo = 1\nlevel = 5\nchords = "Am"\nkey = "A minor"\nbox = 1\n'
    )
    bad = 'lick "a"\n| e8 e5 B8 e5 G7 - - - |\n| e12 e5 B8 e5 - - |\n'
    assert notes(bad, style, "L302") == ["lickwright.toml:2 the meter is set here"]
    assert notes(bad, style, "L422") == ["lickwright.toml:4 capo is set here", "lickwright.toml:3 frets is set here"]
    assert notes("meter 3/4\n" + bad, style, "L302") == ["here:1 the meter is set here"]
    assert notes('lick "a"\n| e8 - e5 - B8 - |\n', style, "L461") == ["lickwright.toml:5 level is set here"]
    (box,) = [d for d in compile_text('lick "a"\nscale dorian\n' + bad, project=style).diagnostics if d.code == "L121"]
    assert box.notes[0].source is style.source
    assert box.span.start == 5  # the title: the lick has no line of its own for it


def test_a_fields_finding_without_a_line_in_the_lick_stands_at_its_title() -> None:
    style = styled('[fields]\nchords = "Am | Dm | Em"\n')
    text = f'lick "a"\n{MUSIC}'
    (found,) = [d for d in compile_text(text, project=style).diagnostics if d.notes]
    assert text[found.span.start :].startswith("lick")
    assert found.notes[0].message == "chords is set here"


def test_reports_for_programs_name_the_other_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / FILE).write_text('[fields]\nmeter = "3/4"\n')
    (tmp_path / "a.lick").write_text(f'lick "a"\n{MUSIC}')
    assert main(["check", "--format", "json", "a.lick"]) == 1
    (file,) = json.loads(capsys.readouterr().out)["files"]
    assert file["diagnostics"][-1]["notes"][0] == {
        "message": "the meter is set here", "path": FILE, "line": 2, "column": 9, "end_line": 2, "end_column": 14
    }  # fmt: skip
    assert main(["check", "--format", "sarif", str(tmp_path / "a.lick")]) == 1
    result = json.loads(capsys.readouterr().out)["runs"][0]["results"][-1]
    place = result["relatedLocations"][0]["physicalLocation"]
    assert (place["artifactLocation"]["uri"], place["region"]["startLine"]) == (FILE, 2)


# --- required fields, severities -------------------------------------------------------------------------------------


def codes(text: str, style: ProjectConfig | None) -> dict[str, str]:
    return {d.code: d.severity.value for d in compile_text(text, project=style).diagnostics}


def test_a_required_field_may_stand_in_the_lick_the_file_or_the_house() -> None:
    style = styled('required = ["by", "rights", "note"]\n[fields]\nrights = "hers"\n')
    lacking = [
        d
        for d in compile_text(f'lick "a"\n{MUSIC}lick "b"\nby Wren\nnote Slowly.\n{MUSIC}', project=style).diagnostics
        if d.code == "L705"
    ]
    assert [(d.lick, d.message) for d in lacking] == [
        ("a", "`by` and `note` are missing, which every lick here must have")
    ]
    assert "L705" not in codes(f'by Wren\nnote Slowly.\nlick "a"\n{MUSIC}', style)


def test_a_required_field_that_cannot_be_read_is_not_called_missing() -> None:
    assert codes(f'lick "a"\nkey A minor\nlevel 9\n{MUSIC}', styled('required = ["level"]')) == {"L121": "error"}


UNSURE = f'lick "a"\nkey A minor\n{MUSIC.replace("B8", "B7")}'  # L203: a warning


@pytest.mark.parametrize("word", [*SEVERITIES, "info"])
def test_a_warning_weighs_what_the_house_says(word: str) -> None:
    assert codes(UNSURE, None)["L203"] == "warning"
    found = codes(UNSURE, styled(f'[findings]\nL203 = "{word}"\n'))
    assert found.get("L203", "off") == {"note": "info"}.get(word, word)  # both words name the mildest
    assert compile_text(UNSURE, project=styled(f'[findings]\nL203 = "{word}"\n')).licks[0].ok == (word != "error")


def test_what_a_lick_means_comes_before_what_its_house_thinks() -> None:
    meant = UNSURE.replace("key", 'meant L203 "chromatic by design"\nkey')
    for word in SEVERITIES:
        assert codes(meant, styled(f'[findings]\nL203 = "{word}"\n')) == {}


def test_a_loss_of_a_format_is_weighed_too() -> None:
    slow = f'lick "a"\ntempo 1/16 = 10\n{MUSIC}'

    def losses(style: ProjectConfig | None) -> list[tuple[str, str]]:
        return [(d.code, d.severity.value) for d in compile_text(slow, project=style).licks[0].emit("midi").losses]

    ((code, _),) = losses(None)
    assert code.startswith("L5")
    assert losses(styled(f'[findings]\n{code} = "off"\n')) == []
    assert losses(styled(f'[findings]\n{code} = "error"\n')) == [(code, "error")]


def test_an_error_stays_one_and_anything_else_can_be_set() -> None:
    for rule, word in product(RULES, SEVERITIES):
        made = parse_project_config(Source(FILE, f'[findings]\n{rule.code} = "{word}"\n'))
        assert made.ok == (rule.severity.value != "error" or word == "error"), (rule.code, word)
        assert [d.code for d in made.findings] == ([] if made.ok else ["L704"]), (rule.code, word)


# --- finding the file ------------------------------------------------------------------------------------------------


def test_the_nearest_file_upwards_counts_alone(tmp_path: Path) -> None:
    deep = tmp_path / "a" / "b" / "c"
    deep.mkdir(parents=True)
    (tmp_path / FILE).write_text("[fields]\ncapo = 1\nfrets = 24\n")
    (tmp_path / "a" / "b" / FILE).write_text("[fields]\ncapo = 2\n")
    houses = ProjectConfigs()
    assert [houses.find(str(folder)).fields["capo"].text for folder in (deep, deep.parent, tmp_path / "a")] == [
        "2",
        "2",
        "1",
    ]  # type: ignore[union-attr]
    assert houses.of(str(deep / "x.lick")) is houses.find(str(deep.parent))
    assert set(houses.find(str(deep)).fields) == {"capo"}  # type: ignore[union-attr]
    assert len(houses.all()) == 2


def test_standard_input_belongs_where_the_user_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / FILE).write_text("[make]\nwidth = 60\n")
    monkeypatch.chdir(tmp_path)
    found = ProjectConfigs().of("-")
    assert found is not None and (found.path, found.make) == (FILE, {"width": 60})


def test_it_is_shown_as_the_source_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / FILE).write_text("")
    (tmp_path / "in").mkdir()
    monkeypatch.chdir(tmp_path / "in")
    shown = [found.path for path in ("a.lick", str(tmp_path / "in" / "a.lick")) if (found := ProjectConfigs().of(path))]
    assert shown == [os.path.join("..", FILE), str(tmp_path / FILE)]


def test_each_folder_is_looked_into_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    looked: list[str] = []
    real = os.stat

    def stat(path: Any, **more: Any) -> os.stat_result:
        looked.append(str(path))
        return real(path, **more)

    deep = tmp_path / "a" / "b"
    deep.mkdir(parents=True)
    monkeypatch.setattr(os, "stat", stat)
    houses = ProjectConfigs()
    for _ in range(50):
        assert houses.of(str(deep / "x.lick")) is None
        assert houses.of(str(tmp_path / "y.lick")) is None
    assert len(looked) == len(set(looked)) == len(deep.parts)


def test_from_python_only_when_asked(tmp_path: Path) -> None:
    (tmp_path / FILE).write_text("[fields]\ncapo = 3\n")
    path = tmp_path / "a.lick"
    path.write_text(f'lick "a"\n{MUSIC}')
    assert [
        c.licks[0].timeline.settings.capo  # type: ignore[union-attr]
        for c in (compile_file(path), compile_file(path, find_house(str(tmp_path))))
    ] == [0, 3]


def test_a_house_travels_to_other_processes_and_its_key_follows_what_licks_notice() -> None:
    text = 'required = ["by"]\n[fields]\nmeter = "3/4"\n[findings]\nL303 = "off"\n[make]\nto = "tab"\ntempo = "60%"\n'
    style = styled(text)
    there = pickle.loads(pickle.dumps(style))
    assert (there.key, there.fields, there.make, there.severities) == (
        style.key,
        style.fields,
        style.make,
        style.severities,
    )
    same = [text.replace("tab", "midi"), text + "jobs = 3\n", text.replace("60%", "70%"), text + "# a remark\n"]
    other = [text.replace("by", "rights"), text.replace("3/4", "2/4"), text.replace("off", "info"), "# line\n" + text]
    assert {styled(one).key for one in same} == {style.key}
    assert len({style.key, *(styled(one).key for one in other)}) == 5
    code = "from lickwright.config.reading import parse_project_config; from lickwright.core.source import Source; "
    code += f"print(parse_project_config(Source({FILE!r}, {text!r})).key)"
    keys = {
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout for _ in "ab"
    }
    assert keys == {style.key + "\n"}, "the same in every process"


# --- the commands ----------------------------------------------------------------------------------------------------


@pytest.fixture
def library(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "songs").mkdir()
    (tmp_path / "songs" / "a.lick").write_text(f'lick "Gate"\nkey A minor\n{MUSIC}')
    (tmp_path / "songs" / "b.lick").write_text(f'lick "Hedge"\nkey A minor\n{MUSIC}')
    (tmp_path / FILE).write_text('[fields]\ncapo = 2\nby = "Mara Quill"\n')
    return tmp_path


def test_every_command_that_compiles_goes_by_it(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["show", "songs/a.lick"]) == 0
    assert "capo    fret 2" in capsys.readouterr().out.lower()
    assert main(["move", "songs/a.lick", "--key", "C minor"]) == 0
    moved = capsys.readouterr().out
    assert "capo 2\n" in moved and "by   Mara Quill\n" in moved, "what is moved means the same without its house"
    assert main(["make", "songs/a.lick", "--to", "tab"]) == 0
    assert "Mara Quill" in next(library.glob("out/**/gate.tab.txt")).read_text("utf-8")
    (library / FILE).write_text('[fields]\ntuning = "drop D"\n')
    (library / FILE).write_text('[fields]\nstep = "1/16"\nmeter = "2/4"\ntuning = "drop D"\n')
    for name in "ab":  # the sixth string, which drop D makes another note
        (library / "songs" / f"{name}.lick").write_text('lick "Gate"\nkey A minor\n| 6:5 6:8 5:5 5:7 4:5 - - - ||\n')
    capsys.readouterr()
    assert main(["box", "--for", "songs/a.lick"]) == 0
    dropped = capsys.readouterr().out
    assert main(["compare", "songs/a.lick", "songs/b.lick", "--format", "json"]) == 0
    assert '"length": "1/16"' in capsys.readouterr().out
    assert main(["check", "songs"]) == 0
    assert "L30" not in capsys.readouterr().out, "eight sixteenths are the house's bar"
    (library / FILE).unlink()
    assert main(["box", "--for", "songs/a.lick"]) == 0
    assert capsys.readouterr().out != dropped


def test_a_house_with_mistakes_is_told_once_and_stops_all_but_check(
    library: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (library / FILE).write_text("[make]\nwidht = 60\n")
    assert main(["check", "songs"]) == 3
    out = capsys.readouterr().out
    assert out.count("L702") == 1
    assert "3 files, 2 licks: 1 error" in out
    for command in (
        ["show", "songs"], ["move", "songs/a.lick", "--box", "3"], ["box", "--for", "songs/a.lick"],
        ["compare", "songs/a.lick", "songs/b.lick"], ["check", "--fix", "songs"],
    ):  # fmt: skip
        assert main(command) == 3
        seen = capsys.readouterr()
        assert seen.err.count("L702") == 1, command
        assert not seen.out
    assert main(["make", "songs"]) != 0
    assert capsys.readouterr().err.count("L702") == 1
    assert not list(library.rglob("*.tab.txt")), "what is half understood would be made wrong"


def test_check_of_the_file_itself(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", FILE]) == 0
    assert capsys.readouterr().out == "1 file, 0 licks: no findings\n"
    (library / FILE).write_text("width = 60\n")
    assert main(["check", FILE]) == 3
    assert "write it under [make]" in capsys.readouterr().out
    assert main(["check", f"songs/{FILE}"]) == 3
    assert "L601" in capsys.readouterr().out


def test_fixes_are_made_by_the_house(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (library / FILE).write_text('[fields]\nmeter = "2/4"\n')
    (library / "songs" / "a.lick").write_text('lick "Gate"\n| e8 e5 B8 b5 |\n')
    assert main(["check", "--fix", "songs/a.lick"]) in (0, 1)
    seen = capsys.readouterr()
    assert "+| e8 e5 B8 B5 |" in seen.out
    assert "L30" not in seen.err, "four eighths are the house's bar"


def test_options_of_make_are_the_command_lines_then_the_houses_then_the_defaults() -> None:
    style = styled('[make]\nto = ["timing-json"]\nout = "made"\nwidth = 60\ntempo = "60%"\nsingle-channel = true\n')
    make = group.get_command(click.Context(group), "make")
    assert make is not None

    def values(*words: str) -> dict[str, Any]:
        with make.make_context("make", [*words, "x.lick"]) as context:
            return {
                o.opts[0]: preferred_values(context, style)[o.name or ""]
                for o in make.params
                if o.opts[0].startswith("--")
            }

    ours, said = values(), values("--to", "tab", "--width", "100", "--tempo", "72")
    assert [row.name for row in ours["--to"]] == ["timing-json"]
    assert (ours["--out"], ours["--width"], ours["--tempo"].percent, ours["--single-channel"]) == ("made", 60, 60, True)
    assert ([row.name for row in said["--to"]], said["--width"], said["--tempo"].bpm, said["--out"]) == (
        ["tab"],
        100,
        72,
        "made",
    )
    options = {opt for parameter in make.params for opt in parameter.opts}
    assert {f"--{row.name}" for row in SETTINGS if row.section == "make"} <= options


# A value for each option of make, not the default, and what stands on the command line for another.
OPTIONS: dict[str, tuple[str, list[str]]] = {
    "to": ('"timing"', ["tab"]), "out": ('"made"', ["other"]), "width": ("60", ["100"]), "jobs": ("3", ["2"]),
    "tempo": ('"60%"', ["72"]), "single-channel": ("true", []), "compressed": ("true", []), "silent-page": ("true", []), "chord-tones": ("true", []),
    "check-contents": ("true", []),
    "format": ('"flac"', ["ogg"]), "count-in": ("2", ["1"]),
    "click": ("true", []), "repeat": ("4", ["2"]), "answer": ("true", []), "backing": ("true", []), "practice": ("true", []), "longest": ("600", ["300"]),
    "layout": ('"flat"', ["by-format"]),
    "sheet-format": ('"svg"', ["pdf,svg"]), "paper": ('"letter"', ["a4"]), "print-size": ('"large"', ["small"]), "left-handed": ("true", []),
    "black": ("true", []), "count": ("true", []), "staff": ("true", []),
    "chord-shapes": ("true", []), "book": ('"Course"', ["Other"]), "share-pages": ("true", []),
    "ladder": ('"50%,4,110%"', ["70%,5,100%"]),
}  # fmt: skip


@pytest.mark.parametrize("row", [row for row in SETTINGS if row.section == "make"], ids=lambda row: row.name)
def test_every_option_comes_from_the_house_unless_the_command_line_says_another(row: Any) -> None:
    make = group.get_command(click.Context(group), "make")
    assert make is not None
    ours, said = OPTIONS[row.name]
    style = styled(f"[make]\n{row.name} = {ours}\n")
    words = [f"--{row.name}" if said else f"--no-{row.name}", *said]

    def value(*more: str, by: ProjectConfig | None = style) -> Any:
        with make.make_context("make", [*more, "x.lick"]) as context:
            (name,) = (p.name for p in make.params if f"--{row.name}" in p.opts)
            return preferred_values(context, by)[name or ""]

    assert value() == style.make[row.name] != value(by=None)
    assert value(*words) == value(*words, by=None) != value()


def test_make_does_as_the_house_says(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (library / "songs" / FILE).write_text('[make]\nto = "tab"\nout = "made"\nwidth = 40\n')
    assert main(["make", "songs"]) == 0
    assert os.path.join("songs", "made") in capsys.readouterr().out
    made = sorted((library / "songs" / "made").rglob("*.t*"))
    assert [path.name for path in made] == ["gate.tab.txt", "hedge.tab.txt"]
    assert not (library / "out").exists()
    assert max(map(len, made[0].read_text("utf-8").splitlines())) <= 40
    assert main(["make", "songs", "--out", "there", "--to", "timing"]) == 0
    assert [path.name for path in (library / "there").rglob("*.csv")]
    (library / "songs" / FILE).write_text('[make]\nto = "tab"\nout = "made"\nwidth = 60\n')
    capsys.readouterr()
    assert main(["make", "songs"]) == 0
    assert "2 made" in capsys.readouterr().out, "another width, so made again"


def test_what_a_house_switches_on_the_command_line_switches_off() -> None:
    make = group.get_command(click.Context(group), "make")
    assert make is not None
    switches = {
        row.name
        for row in SETTINGS
        if row.section == "make" and parse_project_config(Source(FILE, f"[make]\n{row.name} = true")).ok
    }
    assert len(switches) >= 4
    for name in switches:
        style = styled(f"[make]\n{name} = true\n")
        with make.make_context("make", [f"--no-{name}", "x.lick"]) as context:
            assert preferred_values(context, style)[name.replace("-", "_")] is False


# --- sounds of one's own ---------------------------------------------------------------------------------------------


def test_a_house_defines_a_sound() -> None:
    sounds = styled('[sounds.mine]\nlike = "lead"\ndrive = 12\nroom = -30\ncabinet = "clean"\npick = 60\n').sounds
    mine, lead, clean = sounds["mine"], INSTRUMENTS["lead"], INSTRUMENTS["clean"]
    assert (mine.name, mine.program, mine.strings) == ("mine", lead.program, lead.strings)
    changed = {"drive": 12.0, "room": -30.0, "post": clean.guitar.post, "body": clean.guitar.body, "pick": 0.06}
    assert mine.guitar == lead.guitar._replace(**changed)


@pytest.mark.parametrize("setting", SOUND_SETTINGS, ids=lambda setting: setting.name)
def test_numbers_of_a_sound_have_bounds(setting: SoundSetting) -> None:
    for wrong in (10_000, -10_000, float("nan"), float("inf"), True, "x", [], {}):
        row, mistakes = read_sound("mine", {setting.name: wrong})
        assert [one.setting for one in mistakes] == [setting.name]
        assert row.guitar == INSTRUMENTS["clean"].guitar


def test_a_recording_is_played_on_the_sound_that_is_asked_for(tmp_path: Path) -> None:
    """Another sound gives other samples and is recorded anew; the same one is not."""
    pytest.importorskip("soundfile")
    (tmp_path / "a.lick").write_text('tempo 240\nlick "a"\n| G5 - - . . . . . ||\n', "utf-8")
    found = []
    for room in (-24, -12, -12):
        (tmp_path / FILE).write_text(f'[sounds.mine]\nlike = "nylon"\nroom = {room}\n', "utf-8")
        assert main(["make", str(tmp_path / "a.lick"), "--out", str(tmp_path / "out"), "--sound", "mine"]) == 0
        found.append((tmp_path / "out" / "a" / "a.wav").read_bytes())
    assert found[0] != found[1] == found[2]
    assert main(["make", str(tmp_path / "a.lick"), "--out", str(tmp_path / "out"), "--sound", "mina"]) == 2


# --- the page --------------------------------------------------------------------------------------------------------


def test_the_page_has_the_table_of_names() -> None:
    assert settings_table() in PAGE
    assert sound_settings_table() in PAGE


def test_the_examples_of_the_page_can_be_read() -> None:
    import re

    examples = re.findall(r"^```toml\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)
    assert examples
    for text in examples:
        styled(text)


# --- what it costs ---------------------------------------------------------------------------------------------------


def test_without_such_a_file_nothing_of_it_is_loaded(tmp_path: Path) -> None:
    path = tmp_path / "a.lick"
    path.write_text(f'lick "a"\n{MUSIC}')
    code = f"import sys; from lickwright.cli import main; main(['check', {str(path)!r}]); print(*sys.modules, file=sys.stderr)"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(ran.stderr.split())
    assert "lickwright.config.project_config" in loaded
    assert not loaded & {"tomllib", "lickwright.config.reading", "lickwright.config.setting_rows", "sqlite3"}


def test_looking_for_it_costs_next_to_nothing(tmp_path: Path) -> None:
    deep = tmp_path.joinpath(*"abcdefgh")
    deep.mkdir(parents=True)
    path = str(deep / "x.lick")
    houses = ProjectConfigs()
    houses.of(path)
    assert steps(lambda: [houses.of(path) for _ in range(100)]) < 100 * 60  # measured: 30 lines of Python each


if __name__ == "__main__":  # after a change of the rows
    head, _, rest = PAGE.partition("| section | name |")
    page = head + settings_table() + rest[rest.index("\n\n") + 1 :]
    (Path(__file__).parents[1] / "grammar" / "house.md").write_text(page, "utf-8")
