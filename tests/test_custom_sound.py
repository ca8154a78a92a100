"""A sound of one's own, `[sounds.mine]` of a `lickwright.toml`, in the field `sound` of a lick."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import mido
import pytest

from building import lick
from commanding import Run, write
from lickwright import compile_text
from lickwright.config.project_config import FILE, ProjectConfig
from lickwright.config.reading import parse_project_config
from lickwright.core.source import Source
from lickwright.music.instruments import INSTRUMENTS
from lickwright.store.output_keys import KEY, licks_before, sounds_named, source_key

MINE = '[sounds.mine]\nlike = "nylon"\nroom = -20\n'
LICK = 'tempo 240\nsound {}\nlick "Barn door"\n| G5 G7 - - e5 - D5h7 ||\n'
OWN = "by Mara Quill\nrights (c) 2026 Mara Quill\n"


def house(text: str) -> ProjectConfig:
    return parse_project_config(Source(FILE, text))


# --- in one lick -----------------------------------------------------------------------------------------------------


def test_a_lick_is_played_on_a_sound_of_its_house() -> None:
    (one,) = compile_text(LICK.format("mine"), project=house(MINE)).licks
    assert one.ok and one.timeline is not None
    settings = one.timeline.settings
    assert settings.sound == "mine" and settings.instrument.strings == "nylon"
    assert settings.instrument.guitar == INSTRUMENTS["nylon"].guitar._replace(room=-20.0)
    file = mido.MidiFile(file=io.BytesIO(one.midi()))
    assert {m.program for track in file.tracks for m in track if m.type == "program_change"} == {24}
    score = ElementTree.fromstring(one.emit("musicxml").data)
    assert [e.text for e in score.iter("midi-program")] == ["25"] and [
        e.text for e in score.iter("instrument-name")
    ] == ["mine"]


def test_hands_judge_its_strings() -> None:
    bend = 'sound {}\nlick "a"\n| G12^14 - - - - - - - ||\n'
    found = {
        name: [d.code for d in compile_text(bend.format(name), project=house(MINE)).diagnostics]
        for name in ("mine", "nylon", "clean")
    }
    assert found["mine"] == found["nylon"] != found["clean"]


@pytest.mark.parametrize("order", [f'[fields]\nsound = "mine"\n{MINE}', f'{MINE}[fields]\nsound = "mine"\n'])
def test_a_house_sets_its_own_sound_for_all_licks(order: str) -> None:
    project = house(order)
    assert project.ok
    for text, sound in ((LICK.replace("sound {}\n", ""), "mine"), (LICK.format("lead"), "lead")):
        (one,) = compile_text(text, project=project).licks
        assert (
            one.timeline is not None and one.timeline.settings.sound == one.timeline.settings.instrument.name == sound
        )


def test_a_sound_that_is_not_there_is_told_with_its_neighbors_and_its_home() -> None:
    text = LICK.format("mina")
    for project, near in ((house(MINE), "bass, mine; did you mean mine?"), (None, "nylon, bass")):
        wrong = compile_text(text, project=project).diagnostics[0]
        assert wrong.code == "L121" and text[slice(*wrong.span)] == "mina"
        assert near in wrong.message and "[sounds.mine]" in wrong.hint and FILE in wrong.hint
    capital = compile_text(LICK.format("Mine"), project=house(MINE)).diagnostics[0]
    assert capital.fix is not None and capital.fix.title == "write `mine`"
    (unset,) = house('[fields]\nsound = "mina"\n' + MINE).findings
    assert unset.code == "L703" and "did you mean mine?" in unset.message


def test_recording_and_page_are_played_on_it() -> None:
    pytest.importorskip("soundfile")
    made = []
    for text in (MINE, MINE.replace("-20", "-40"), MINE + "pick = 60\n"):
        (one,) = compile_text(LICK.format("mine"), project=house(text)).licks
        made.append((one.emit("audio").data, one.emit("page").data))
    assert len({audio for audio, _ in made}) == 3


# --- in a library ----------------------------------------------------------------------------------------------------


@pytest.fixture
def run(run_from: Callable[..., Run]) -> Run:
    """Calls the command line in a folder with a library, built into `out`: two licks on sounds of its own, one on another, one on none."""
    call = run_from()
    write(f"lib/{FILE}", MINE + '[sounds.other]\nlike = "lead"\n')
    for n, sound in enumerate(("mine", "mine", "other", "clean")):
        write(f"lib/n{n}.lick", f"{OWN}sound {sound}\n{lick(n)}")
    assert call("make", "lib", "--to", "midi")[0] == 0
    return call


def remade(run: Run) -> list[str]:
    """The sources that a build makes anew."""
    code, said, err = run("make", "lib", "--to", "midi", "--report", "-")
    assert code in (0, 1), err
    return [one["path"] for one in json.loads(said)["sources"] if one["state"] == "built"]


def test_a_changed_sound_makes_only_its_licks_again(run: Run) -> None:
    toml = Path("lib", FILE)
    assert remade(run) == []
    toml.write_text(toml.read_text().replace("-20", "-30"))
    assert "n0.lick: a sound of its lickwright.toml changed since" in run("library", "out", "--ready")[1]
    assert remade(run) == ["lib/n0.lick", "lib/n1.lick"]
    assert run("library", "out", "--ready")[0] == 0
    toml.write_text(toml.read_text() + '[sounds.third]\nlike = "bass"\n')
    assert remade(run) == []
    toml.write_text(toml.read_text().replace('"lead"', '"crunch"'))
    assert remade(run) == ["lib/n2.lick"]


def test_a_sound_that_comes_makes_the_licks_that_missed_it(run: Run) -> None:
    toml = Path("lib", FILE)
    whole = toml.read_text()
    toml.write_text(whole.replace("[sounds.other]", "[sounds.others]"))
    assert run("make", "lib", "--to", "midi")[0] == 1
    assert remade(run) == []
    toml.write_text(whole)
    assert remade(run) == ["lib/n2.lick"]


@pytest.mark.parametrize("written", ["my other", '"other"', "Other", "another\x0b", "= more"])
def test_a_name_that_none_can_have_is_read_again_where_the_project_has_another_sound(run: Run, written: str) -> None:
    """Its finding lists the sounds that there are."""
    write("lib/n2.lick", f"{OWN}sound {written}\n{lick(2)}")
    assert run("make", "lib", "--to", "midi")[0] == 1
    assert remade(run) == []
    write("lib/" + FILE, Path("lib", FILE).read_text() + '[sounds.more]\nlike = "bass"\n')
    shown = run("make", "lib", "--to", "midi")[2]
    assert shown == run("make", "lib", "--to", "midi", "--out", "anew")[2]


def test_a_changed_sound_of_all_licks_leaves_those_with_one_of_their_own(run: Run) -> None:
    write("lib/n4.lick", OWN + lick(4))
    toml = Path("lib", FILE)
    toml.write_text('[fields]\nsound = "mine"\n' + toml.read_text())
    assert remade(run) == [f"lib/n{n}.lick" for n in range(5)]
    toml.write_text(toml.read_text().replace("-20", "-30"))
    assert remade(run) == ["lib/n0.lick", "lib/n1.lick", "lib/n4.lick"]


def test_merged_shards_know_their_sounds(run: Run) -> None:
    for n in (1, 2):
        assert run("make", "lib", "--to", "midi", "--shard", f"{n}/2", "--out", f"part{n}")[0] == 0
    assert run("make", "--merge", "part1", "part2", "--out", "out2")[0] == 0
    said = run("make", "lib", "--to", "midi", "--out", "out2")[1]
    assert "4 sources: 4 unchanged" in said
    toml = Path("lib", FILE)
    toml.write_text(toml.read_text().replace("-20", "-30"))
    assert "2 made, 2 unchanged" in run("make", "lib", "--to", "midi", "--out", "out2")[1]


def test_licks_are_found_by_it(run: Run) -> None:
    found = run("find", "out", "sound:mine", "--paths")[1]
    assert found == "lib/n0.lick\nlib/n1.lick\n"
    code, _, err = run("find", "out", "sound:minor")
    assert code == 2 and "`minor` is not one of clean" in err


def test_a_lick_that_leaves_its_house_says_what_it_lacks(run: Run) -> None:
    write("away/n0.lick", Path("lib/n0.lick").read_text())
    code, said, _ = run("check", "away/n0.lick")
    assert (
        code == 1
        and "`mine` is not one of clean" in said
        and "`[sounds.mine]` in `lickwright.toml` defines one" in said
    )


def test_a_lick_moves_with_its_sound(run: Run) -> None:
    write("lib/n5.lick", 'key A minor\nsound mine\nlick "Gate"\n| A12 D12 G12 e12 A12 D12 G12 e12 ||\n')
    code, said, err = run("move", "lib/n5.lick", "--key", "B minor")
    assert code == 0, err
    assert "sound mine" in said


# --- keys ------------------------------------------------------------------------------------------------------------


def test_a_key_knows_its_parts() -> None:
    sounds = {name: INSTRUMENTS[name] for name in ("lead", "bass")}
    base = bytes(range(KEY))
    assert source_key(base, 0) == base
    many = [f"own-{n}" for n in range(20)]
    for before in (0, 7, 1 << 31):
        for names, stored in (((), ()), (("lead",), ("lead",)), (("none", "bass"), ("bass", "none")), (many, ("*",))):
            key = source_key(base, before, names, sounds)
            assert (licks_before(key), sounds_named(key)) == (before, stored)
            assert key == source_key(base, before, sounds_named(key), sounds)
            assert (key == source_key(base, before, sounds_named(key), {})) == (not names)
            assert len(key) < 200
