"""`lickwright find` and `lickwright library`, as a user calls them."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from functools import partial
from pathlib import Path

import pytest

from commanding import Run, write
from lickwright.cli import main
from lickwright.cli.table import format_table
from lickwright.index.duplicates import find_duplicates
from lickwright.report.console import display_width
from shelved import SAMPLE_LICKS, SAMPLES, sample_facts

SAMPLE_FOLDER = str(SAMPLES[0].parents[1])
BLUES = str(next(path for path in SAMPLES if path.name == "slow-blues.lick"))


@pytest.fixture(scope="module")
def sample_shelf(tmp_path_factory: pytest.TempPathFactory) -> str:
    """An output folder of all samples: its index is asked in a twentieth of the time in which the samples are compiled."""
    out = str(tmp_path_factory.mktemp("samples") / "out")
    assert main(["make", SAMPLE_FOLDER, "--to", "tab", "--out", out, "--jobs", "1"]) == 0
    return out


# --- find ------------------------------------------------------------------------------------------------------------


def test_a_table(run: Run) -> None:
    code, out, err = run("find", BLUES, "key:A,G bend")
    assert code == 0 and not err
    head, *rows, count = out.splitlines()
    assert head.split() == ["title", "key", "box", "level", "tempo", "bars", "techniques", "where"]
    assert [row.split("  ")[0] for row in rows] == ["Kettle on the stove", "Third stair creaks"]
    assert rows[0].endswith("slow-blues.lick:14")
    assert count == "2 licks"


def test_the_words_of_a_question_may_be_one_argument_or_several(run: Run) -> None:
    assert run("find", BLUES, "key:A,G", "bend") == run("find", BLUES, "key:A,G bend")


def test_a_table_is_cut_and_says_so(run: Run) -> None:
    _, out, _ = run("find", SAMPLE_FOLDER)
    assert len(out.splitlines()) == 52
    assert out.endswith(f"{SAMPLE_LICKS} licks; {SAMPLE_LICKS - 50} not shown: --limit shows more\n")
    _, out, _ = run("find", SAMPLE_FOLDER, "--limit", "100")
    assert len(out.splitlines()) == SAMPLE_LICKS + 2 and out.endswith(f"\n{SAMPLE_LICKS} licks\n")


@pytest.mark.parametrize("columns", [72, 80, 132])
@pytest.mark.parametrize("more", [(), ("--like", BLUES, "--title", "Kettle on the stove")])
def test_a_table_fits_the_columns_asked_for(
    run: Run, monkeypatch: pytest.MonkeyPatch, columns: int, more: tuple[str, ...]
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    code, out, _ = run("find", SAMPLE_FOLDER, *more)
    assert code == 0 and max(map(display_width, out.splitlines())) <= columns
    assert ".lick:" in out


def test_json_says_everything(run: Run) -> None:
    code, out, _ = run("find", SAMPLE_FOLDER, "level>=4", "--format", "json")
    answer = json.loads(out)
    assert code == 0 and answer["question"] == "level>=4"
    assert answer["total"] == len(answer["licks"]) == 10
    one = answer["licks"][0]
    own = next(f for found in sample_facts().values() for f in found if f.title == one["title"])
    for name in ("key", "scale", "box", "tempo", "bars", "seconds", "notes", "lowest", "highest", "line", "rights"):
        assert one[name] == (getattr(own, name) if getattr(own, name) != "" else None)
    assert one["techniques"] == own.techniques.split(", ")
    assert len(one["intervals"]) == len(one["rhythm"]) == own.phrase_notes - 1
    assert one["tags"] == [tag.strip() for tag in own.tags.split(",")]
    assert one["findings"] == [finding._asdict() for finding in own.findings] and one["outputs"] == []


def test_paths_are_files_each_once(run: Run) -> None:
    _, out, _ = run("find", SAMPLE_FOLDER, "bend", "--paths")
    paths = out.splitlines()
    wanted = [path for path, found in sample_facts().items() if any("bend" in f.techniques for f in found)]
    assert set(wanted) <= set(paths) and len(set(paths)) == len(paths)
    assert all(Path(path).is_file() for path in paths)


def test_nothing_found_is_no_error_and_says_why(run: Run) -> None:
    assert run("find", BLUES, "bned") == (0, "", "no lick has `bned`; did you mean bend?\n")
    assert run("find", BLUES, "tapped") == (0, "", "no lick has `tapped`\n")
    assert run("find", BLUES, "bend", "level:5") == (0, "", "no lick has `level:5`\n")
    code, out, _ = run("find", BLUES, "level:5", "--format", "json")
    assert code == 0 and json.loads(out)["licks"] == []


def test_a_question_that_cannot_be_read(run: Run) -> None:
    assert run("find", BLUES, 'bend kye:"A minor"') == (
        2, "", 'error: there is no field `kye`\n    bend kye:"A minor"\n         ^^^\n    help: did you mean key?\n',
    )  # fmt: skip
    assert run("find", "nowhere", "box:9")[0] == 2  # before the library is looked for


def test_a_library_that_is_not_there(run: Run) -> None:
    code, out, err = run("find", "nowhere", "bend")
    assert (code, out) == (3, "") and err.startswith("nowhere: error: the file cannot be read")
    Path("empty").mkdir()
    code, _, err = run("find", "empty", "bend")
    assert code == 3 and "there is no .lick file" in err


def test_licks_with_errors_are_found_and_are_no_error_of_the_question(run: Run) -> None:
    path = write("a.lick", 'lick "Good"\n| e5 - e5 - e5 - e5 - |\n\nlick "Bad"\n| e5 z9 |\n')
    code, out, err = run("find", path, "finding:error")
    assert code == 0 and out.splitlines()[1].startswith("Bad") and not err


def test_nobody_s_title_steers_the_screen(run: Run) -> None:
    path = write("a.lick", 'lick "\u202egnihton \u0301 夜の雨"\ntags \u200fx\n| e5 - e5 - e5 - e5 - |\n')
    for arguments in (
        ["find", path],
        ["find", path, "--like", path],
        ["library", path],
        ["library", path, "--duplicates"],
    ):
        _, out, err = run(*arguments)
        assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u200f\u202e]", out + err), arguments


def test_file_names_that_are_no_text(run: Run) -> None:
    name = os.fsdecode(b"na\xefve \x1b[31m.lick")
    try:
        write(name, 'lick "One"\n| e5 - e5 - e5 - e5 - |\n')
    except OSError:
        pytest.skip("this file system takes no such name")
    code, out, err = run("find", ".", "--paths")
    assert code == 0 and not err and len(out.splitlines()) == 1
    run("make", ".", "--to", "tab", "--out", "out")
    for library in (".", "out"):
        for arguments in (
            ["find", library],
            ["find", library, "--format", "json"],
            ["library", library, "--duplicates"],
        ):
            code, out, err = run(*arguments)
            assert code == 0 and "\x1b" not in out + err, arguments


@pytest.mark.parametrize("columns", [30, 60, 80, 200])
def test_a_table_fits_the_screen(columns: int) -> None:
    rows = [("夜の雨 " * n, "A minor", str(n), "bend, slide, " * n, "a/long/path/to/a.lick:12") for n in range(1, 9)]
    lines = format_table(("title", "key", "level", "techniques", "where"), rows, columns).splitlines()
    assert len(lines) == 9
    assert all(display_width(line) <= max(columns, 5 * 5 + 8) for line in lines)
    assert all(line.endswith("12") for line in lines[1:])


# --- like ------------------------------------------------------------------------------------------------------------


def test_like_a_lick(run: Run) -> None:
    head, music = "key A minor\nbox 1\n\n", "| e8 e5 B8 B5 G7 G5 D7 D5 | A7 A5 D7 G5 G7 B5 B8 - |"
    write("lib/a.lick", f'{head}lick "Mine"\n{music}\n\nlick "Other"\n| e5 e5 e8 e5 G5 e5 e8 e5 |\n')
    write("lib/b.lick", f'{head}lick "Nearly"\n{music.replace("D7 D5", "D7 -")}\n')
    run("move", "lib/a.lick", "Mine", "--key", "C minor", "--out", "lib/c.lick")
    write("mine.lick", f'{head}lick "Question"\n{music}\n')
    code, out, err = run("find", "lib", "--like", "mine.lick")
    assert code == 0 and not err
    assert [re.split(r"  +", line)[:3] for line in out.splitlines()[1:]] == [
        ["100%", "Mine", "nothing: the same tab"],
        ["100%", "Mine", "in C minor, frets 8-11"],
        ["90%", "Nearly", "1 note fewer, 1 note of another length"],
    ]  # fmt: skip
    _, out, _ = run("find", "lib", "key:C", "--like", "mine.lick", "--format", "json")
    answer = json.loads(out)
    assert [(one["kind"], one["alike"], one["differs"][0]) for one in answer["licks"]] == [
        ("same phrase", 1.0, "in C minor")
    ]
    _, out, _ = run("find", "lib", "--like", "mine.lick", "--limit", "1", "--paths")
    assert out.replace("\\", "/") == "lib/a.lick\n"


def test_like_wants_one_lick(run: Run) -> None:
    code, _, err = run("find", SAMPLE_FOLDER, "--like", BLUES)
    assert code == 2 and '--title names one of "Kettle on the stove", "Third stair creaks"' in err
    code, _, err = run("find", SAMPLE_FOLDER, "--like", BLUES, "--title", "Kettel")
    assert code == 2 and 'there is no lick called "Kettel"' in err
    code, out, _ = run("find", SAMPLE_FOLDER, "--like", BLUES, "--title", "third  STAIR creaks")
    assert code == 0 and "Third stair creaks" in out
    short = write("short.lick", 'lick "Two"\n| e5 - - - e8 - - - |\n')
    code, _, err = run("find", SAMPLE_FOLDER, "--like", short)
    assert code == 2 and "fewer than 4 notes" in err
    code, out, err = run("find", SAMPLE_FOLDER, "--like", "nowhere.lick")
    assert code == 3 and not out and "cannot be read" in err
    bad = write("bad.lick", 'lick "Bad"\n| e5 z9 e5 e5 e5 |\n')
    code, out, err = run("find", SAMPLE_FOLDER, "--like", bad)
    assert code == 1 and not out and "error" in err


# --- an index that a build keeps -------------------------------------------------------------------------------------


def test_an_output_folder_answers_as_its_sources_do(run: Run) -> None:
    run("make", SAMPLE_FOLDER, "--to", "tab", "--out", "out")
    for question in ("", "bend box:1 level<=3", "not bend rights:none file:blues"):
        sources = json.loads(run("find", SAMPLE_FOLDER, question, "--format", "json")[1])
        kept = json.loads(run("find", "out", question, "--format", "json")[1])
        for one in sources["licks"]:
            del one["outputs"]
        for one in kept["licks"]:
            one["path"] = str(Path(one["path"]).resolve())
            assert one["ok"] and all(Path(output).is_file() for output in one["outputs"]) and one.pop("outputs")
        assert sources["licks"] == kept["licks"], question
    assert run("library", "out")[1] == run("library", SAMPLE_FOLDER)[1].replace(SAMPLE_FOLDER, "out")


def test_files_made_one_by_one_are_found_too(run: Run) -> None:
    for n in (1, 2):
        write(f"{n}.lick", f'lick "Number {n}"\n| e5 - e5 - e5 - e5 - |\n')
        run("make", f"{n}.lick", "--to", "tab", "--out", "out")
    found = ["title", "Number 1", "Number 2"]
    code, out, err = run("find", "out")
    assert code == 0 and not err
    assert [line.split("  ")[0] for line in out.splitlines()] == [*found, "2 licks"]
    write("lib/3.lick", 'lick "Number 3"\n| e5 - e5 - e5 - e5 - |\n')
    run("make", "lib", "--to", "tab", "--out", "out")  # with an index, in which the other two are not
    code, out, err = run("find", "out")
    assert code == 0 and not err
    assert [line.split("  ")[0] for line in out.splitlines()] == [*found, "Number 3", "3 licks"]


def test_a_changed_library_is_asked_as_it_was_made_last(run: Run) -> None:
    write("lib/a.lick", 'lick "Old"\n| e5 - e5 - e5 - e5 - |\n')
    write("lib/b.lick", 'lick "Stays"\n| e5 - e5 - e5 - e5 - |\n')
    run("make", "lib", "--to", "tab", "--out", "out")
    write("lib/a.lick", 'lick "New"\n| e5 - e5 - e8 - e5 - |\n')
    run("make", "lib", "--to", "tab", "--out", "out")
    assert run("find", "out", "title:old")[1] == ""
    assert "New" in run("find", "out", "title:new")[1]
    assert "Stays" in run("find", "out", "stays")[1]


def test_an_index_that_is_damaged_says_so(run: Run) -> None:
    write("lib/a.lick", 'lick "Old"\n| e5 - e5 - e5 - e5 - |\n')
    write("lib/b.lick", 'lick "Stays"\n| e5 - e5 - e5 - e5 - |\n')
    run("make", "lib", "--to", "tab", "--out", "out")
    index = Path("out/.lickwright.db")
    whole = index.read_bytes()
    for damaged in (
        b"",
        b"not an index at all",
        whole[: len(whole) // 2],
        whole[:4096] + b"\xff" * (len(whole) - 4096),
    ):
        index.write_bytes(damaged)
        for command in ("find", "library"):
            code, _, err = run(command, "out")
            assert code == 3, (command, damaged[:20], err)
            assert "the next lickwright make starts a new one" in err
            assert "sorry" not in err


def test_an_index_is_asked_after_its_build_was_killed(run: Run, tmp_path: Path) -> None:
    """What the build had begun is taken back, and the answer is that of the build before."""
    run("make", SAMPLE_FOLDER, "--to", "tab", "--out", "out")
    before = run("find", "out", "bend")
    killed = """
import os, signal
from lickwright.store.manifest import Manifest
manifest = Manifest("out", write=True)
manifest.db.execute("PRAGMA cache_size = 5")  # so that the file is written to before the end
manifest.begin()
manifest.db.execute("CREATE TABLE junk (x)")
manifest.db.executemany("INSERT INTO junk VALUES (?)", [("x" * 3000,)] * 500)
manifest.db.execute("UPDATE licks SET title = 'half', techniques = ''")
os.kill(os.getpid(), signal.SIGKILL)
"""
    ran = subprocess.run([sys.executable, "-c", killed], cwd=tmp_path, check=False)
    assert ran.returncode == -9 and Path("out/.lickwright.db-journal").stat().st_size > 0
    assert run("find", "out", "bend") == before


def test_an_index_is_asked_without_the_compiler(run: Run, tmp_path: Path) -> None:
    run("make", SAMPLE_FOLDER, "--to", "tab", "--out", "out")
    ran = subprocess.run(
        [sys.executable, "-c", "import sys; from lickwright.cli import main; "
         "assert main(['find', 'out', 'bend', 'key:A']) == 0; print(*sys.modules, file=sys.stderr)"],
        capture_output=True, text=True, check=True, cwd=tmp_path,
    )  # fmt: skip
    loaded = set(ran.stderr.split())
    assert "lickwright.index.search" in loaded
    assert not loaded & {
        "lark",
        "lickwright.compiler",
        "lickwright.timeline.model",
        "lickwright.settings.fields",
        "numpy",
    }


# --- library ---------------------------------------------------------------------------------------------------------

COURSE = """key A minor
by Mara Quill

lick "Hard first"
box 1
level 5
tags bend, Long
| e8^full - -r - e5 - - - |

lick "Easy later"
box 1
level 2
tags bend
rights mine
| e8^full - -r - e5 - - - |

lick "Third"
box 2
level 2
| B8 - B10 - G9 - - - |

lick "Fourth"
box 4
level 3
| B13 - B15 - G12 - - - |

lick "Broken"
| e5 z9 |
"""


def test_the_overview_counts(run: Run) -> None:
    path = write("a.lick", COURSE)
    code, out, _ = run("library", path, "--format", "json")
    found = json.loads(out)
    assert code == 0
    assert (found["licks"], found["files"], found["broken"]) == (5, 1, 1)
    assert found["counts"]["key"] == {"A minor": 4}
    assert found["counts"]["box"] == {"1": 2, "2": 1, "4": 1}
    assert found["counts"]["level"] == {"2": 2, "3": 1, "5": 1}
    assert found["counts"]["technique"] == {"bend": 2, "release": 2}
    assert found["counts"]["tag"] == {"bend": 2, "Long": 1}
    assert found["without"] == {"rights": 3, "by": 0, "key": 0, "level": 0, "tags": 2, "style": 4}
    assert found["severities"]["error"] >= 1


def test_what_is_missing_is_told(run: Run) -> None:
    path = write("1-bends.lick", COURSE)
    _, out, _ = run("library", path)
    assert "  no lick at level 4, but easier and harder ones\n" in out
    assert "  no lick in boxes 3 and 5\n" in out
    assert '  bend comes first in "Hard first" (level 5); "Easy later" (level 2) is easier and comes later\n' in out
    assert "without     rights: 3 licks; lickwright find 1-bends.lick rights:none\n" in out
    assert f"lickwright find {path} finding:error" in out
    assert "easier and comes later" not in run("library", write("b/course.lick", COURSE))[1], "no course: not numbered"
    missing = json.loads(run("library", path, "--format", "json")[1])["missing"]
    for gap in missing:
        if gap["question"]:
            code, found, err = run("find", path, gap["question"])
            assert code == 0 and found and not err, gap


def test_keys_and_boxes_with_a_hole_among_their_neighbours(run: Run) -> None:
    music = "| e5 - e5 - e5 - e5 - |"
    keys = ["C", "G", "A", "E", "B"]  # D lies between G and A, a fifth from each
    text = "".join(f'lick "In {key}"\nkey {key} major\n{music}\n\n' for key in keys)
    boxes = "".join(f'lick "Box {n}"\nkey A minor\nbox {n}\n{music}\n\n' for n in (1, 2, 3, 5))
    boxes += f'lick "Elsewhere"\nkey E minor\nbox 4\n{music}\n'
    _, out, _ = run("library", write("a.lick", text + boxes))
    assert "  no lick in D major, but in G major and A major\n" in out
    assert "  no lick in box 4 in A minor, but in the others\n" in out
    assert out.count("no lick in") == 2


def test_every_hint_of_the_samples_can_be_followed(run: Run, sample_shelf: str) -> None:
    missing = json.loads(run("library", sample_shelf, "--format", "json")[1])["missing"]
    assert len(missing) > 5
    for gap in missing[:6]:
        assert not gap["question"] or run("find", sample_shelf, gap["question"])[1]


def test_duplicates(run: Run) -> None:
    head, music = "key A minor\nbox 1\n\n", "| e8 e5 B8 B5 G7 G5 D7 D5 | A7 A5 D7 G5 G7 B5 B8 - |"
    write("lib/a.lick", f'{head}lick "Mine"\n{music}\n\nlick "Other"\n| e5 e5 e8 e5 G5 e5 e8 e5 |\n')
    write("lib/b.lick", f'{head}lick "Twin"\n{music}\n')
    code, out, _ = run("library", "lib", "--duplicates")
    assert code == 0
    assert out.replace("\\", "/") == (
        "The same tab:\n\n  Mine  A minor, box 1  lib/a.lick:4\n  Twin  the same        lib/b.lick:4\n\n1 group of 2 licks\n"
    )
    assert (
        "repeated    1 phrase comes more than once: lickwright library lib --duplicates\n" in run("library", "lib")[1]
    )
    run("move", "lib/a.lick", "Mine", "--box", "2", "--out", "lib/c.lick")
    write("lib/d.lick", f'{head}lick "Cousin"\n{music.replace("D7 D5", "D7 -")}\n')
    found = json.loads(run("library", "lib", "--duplicates", "--format", "json")[1])["groups"]
    assert [(group["kind"], [one["title"] for one in group["licks"]]) for group in found] == [
        ("near", ["Mine", "Twin", "Cousin"])
    ]
    found = json.loads(run("library", "lib", "--duplicates", "--families", "--format", "json")[1])["groups"]
    assert [(group["kind"], [one["title"] for one in group["licks"]]) for group in found] == [
        ("near", ["Mine", "Twin", "Mine", "Cousin"])
    ]
    assert found[0]["licks"][2]["differs"][0] == "box 2"
    assert found[0]["licks"][3]["differs"][0] == "1 note fewer"
    assert run("library", BLUES, "--duplicates") == (0, "no licks are alike\n", "")


def test_duplicates_that_were_not_all_compared_are_said_to_be_so(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lickwright.cli.duplicates_view.find_duplicates", partial(find_duplicates, effort=0))
    code, out, _ = run("library", BLUES, "--duplicates")
    assert code == 0
    assert "not every pair was compared" in out
    assert json.loads(run("library", BLUES, "--duplicates", "--format", "json")[1])["complete"] is False


def test_many_groups_fit_one_screen_and_the_rest_is_counted(run: Run) -> None:
    pool = [
        ("e8", "e5", "B8", "B5", "G7", "G5", "D7", "D5")[n:] + ("e5", "G7", "e8", "B8", "D7", "e5", "G5")[:n]
        for n in range(8)
    ]
    for n in range(64):
        notes = " ".join((*pool[n % 8][:7], f"e{5 + n // 8 % 4}"))
        write(f"lib/n{n:02}.lick", f'key A minor\n\nlick "L {n}"\n| {notes} |\n')
    out = run("library", "lib", "--duplicates")[1]
    shown, all_ = out.count("lib/n"), json.loads(run("library", "lib", "--duplicates", "--format", "json")[1])["groups"]
    assert out.count("\n") <= 60 and shown < 64
    assert out.endswith(f"{len(all_)} groups of {sum(len(group['licks']) for group in all_)} licks\n")
    if len(all_) > 9:
        assert f"and {len(all_) - 9} more group" in out
    assert run("library", "lib", "--duplicates", "--limit", "64")[1].count("lib/n") == sum(
        len(g["licks"]) for g in all_
    )


def test_the_headline_counts_what_the_tables_count(run: Run) -> None:
    write("lib/a.lick", 'key A minor\n\nlick "One"\n| e5 - e5 - e5 - e5 - |\n\nlick "Two"\n| e5 zz |\n')
    lines = run("library", "lib")[1].splitlines()
    assert lines[0] == "1 lick in 1 file, 2 seconds of music (1 more with errors, not counted here)"
    assert "keys        A minor: 1" in lines


def test_a_family_alone_is_not_repeated(run: Run) -> None:
    write("lib/a.lick", 'key A minor\nbox 1\n\nlick "Mine"\n| e8 e5 B8 B5 G7 G5 D7 D5 |\n')
    assert run("move", "lib/a.lick", "--key", "C minor", "--out", "lib/b.lick")[0] == 0
    assert run("move", "lib/b.lick", "--key", "D minor", "--out", "lib/c.lick")[0] == 0
    assert run("library", "lib", "--duplicates") == (0, "no licks are alike\n", "")
    assert "repeated" not in run("library", "lib")[1]
    assert "1 group of 3 licks" in run("library", "lib", "--duplicates", "--families")[1]
    assert run("library", "lib", "--families")[0] == 2
    found = json.loads(run("find", "lib", "from:mine", "--format", "json")[1])["licks"]
    assert [one["origin"] for one in found] == ["Mine", "Mine"]


def test_an_answer_can_be_sorted(run: Run, sample_shelf: str) -> None:
    def titles(*question: str) -> list[str]:
        answer = json.loads(run("find", sample_shelf, *question, "--format", "json")[1])
        return [one["title"] for one in answer["licks"]]

    known = {f.title: f for found in sample_facts().values() for f in found}
    easy = titles("bend", "sort:level,-tempo")
    assert sorted(easy) == sorted(titles("bend")) and len(easy) > 20
    keys = [(known[title].level, -(known[title].tempo or 0)) for title in easy]
    assert keys == sorted(keys, key=lambda key: (key[0] or 9, key[1]))
    assert titles("bend", "sort:level,-tempo", "--limit", "5") == easy[:5]
    assert titles("sort:title") == sorted(known, key=str.casefold)
    like = titles("--like", BLUES, "--title", "Third stair creaks", "sort:-tempo", "--limit", "5")
    assert [known[title].tempo for title in like] == sorted((known[title].tempo for title in like), reverse=True)
    code, _, err = run("find", sample_shelf, "sort:levle")
    assert code == 2 and "help: did you mean sort:level?" in err
    assert run("find", sample_shelf, "not sort:level")[0] == 2


def test_like_this_but_easier(run: Run) -> None:
    music = "| e8 e5 B8 B5 G7 G5 D7 D5 |"
    write("lib/a.lick", f'key A minor\nbox 1\n\nlick "Slow"\nlevel 1\n{music}\n\nlick "Fast"\nlevel 4\n{music}\n')
    code, out, _ = run("find", "lib", "--like", "lib/a.lick", "--title", "Fast", "level<4")
    assert code == 0 and "Slow" in out and "Fast" not in out


def test_a_table_says_where_a_word_was_found_if_it_does_not_show_it(run: Run) -> None:
    write("lib/a.lick", 'key A minor\n\nlick "One"\ntags answer\nnote the answer\n| e5 - e5 - e5 - e5 - |\n')
    out = run("find", "lib", "answer")[1]
    assert "found in" in out.splitlines()[0] and "tags, note" in out
    assert "found in" not in run("find", "lib", "one")[1]
    write("lib/b.lick", 'key A minor\n\nlick "Two"\ntags bend\n| e5 - e5 - e5 - e5 - |\n')
    assert run("find", "lib", "bend")[1] == "", "what is only tagged so has none"
    assert "Two" in run("find", "lib", "tags:bend")[1]


def test_rows_for_a_spreadsheet(run: Run) -> None:
    import csv
    import io

    write("lib/a.lick", 'key A minor\n\nlick "=One"\ntags answer, bend\n| e5 - e5&B5 - e5 - e5 - |\n')
    code, out, _ = run("find", "lib", "--format", "csv")
    (row,) = csv.DictReader(io.StringIO(out))
    assert code == 0 and row["title"] == "'=One" and row["tags"] == "answer, bend" and row["figures"] == "double stop"
    assert (row["level"], row["tempo"], row["origin"]) == ("1", "100.0", "")
    assert run("find", "lib", "--paths", "--format", "csv")[0] == 2


def test_help_lists_every_field(run: Run) -> None:
    from lickwright.index.query_fields import QUERY_FIELDS

    code, out, _ = run("find", "--help")
    assert code == 0
    for field in QUERY_FIELDS:
        assert re.search(rf"^  {field.name} +", out, re.MULTILINE), field.name


def test_a_field_without_its_colon_is_recognised(run: Run) -> None:
    assert "did you mean level:…?" in "".join(run("find", BLUES, "level 3")[1:])


def test_names_of_before_still_find_or_hint(run: Run, sample_shelf: str) -> None:
    for old, new in (
        ("curl", "quarter-step bend"),
        ("touched", "artificial harmonic"),
        ("touched harmonic", "artificial harmonic"),
    ):
        asked, now = (run("find", sample_shelf, f'technique:"{name}"')[1] for name in (old, new))
        assert asked == now and new in now
    assert run("find", sample_shelf, "curl")[2] == "no lick has `curl`; did you mean quarter-step bend?\n"


def test_a_narrow_table_gives_up_a_column_before_it_cuts_every_title() -> None:
    rows = [("Gravel and honey", "A major", "bend, slide up, hammer-on, pull-off", "samples/blues/shuffles.lick:10")]
    heads = ("title", "key", "techniques", "where")
    wide, narrow = (format_table(heads, rows, columns, least="techniques") for columns in (70, 60))
    assert "techniques" in wide and "…" in wide
    assert narrow.splitlines()[0].split() == ["title", "key", "where"] and "…" not in narrow
