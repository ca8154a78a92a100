"""`lickwright library OUT --ready`: complete and fresh, or each thing that is not."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from building import lick
from commanding import Run, write

WHOSE = "by Mara Quill\nrights (c) 2026 Mara Quill\n"
FORMATS = ("--to", "tab,midi")


def own(n: int) -> str:
    """A lick that says its rights and its author."""
    return WHOSE + lick(n)


@pytest.fixture
def run(run_from: Callable[..., Run]) -> Run:
    """Calls the command line in a folder with a library of five that was built into `out`, ready to go."""
    call = run_from()
    for n in range(5):
        write(f"lib/{'slow/' if n % 2 else ''}n{n}.lick", own(n))
    assert call("make", "lib", *FORMATS)[0] == 0
    return call


def lacks(run: Run, out: str = "out") -> list[tuple[str, str, str, str]]:
    """What is not ready, in both forms of the answer."""
    code, text, err = run("library", out, "--ready", "--limit", "1000")
    as_json, said, _ = run("library", out, "--ready", "--format", "json")
    value = json.loads(said)
    assert not err
    assert code == as_json == (0 if value["ready"] else 1)
    assert value["total"] == len(value["lacks"])
    assert value["ready"] == (not value["lacks"]) == text.startswith("ready: ")
    for one in value["lacks"]:
        assert f"{one['message']}\n" in text
        assert one["path"] in text and one["title"] in text
    return [(one["kind"], one["path"], one["title"], one["message"]) for one in value["lacks"]]


def test_a_complete_library_is_ready(run: Run) -> None:
    assert run("library", "out", "--ready") == (0, "ready: 10 files of 5 licks in out\n", "")
    assert lacks(run) == []


def test_sources_that_changed_came_or_went(run: Run) -> None:
    write("lib/n0.lick", own(0) + "\n")
    os.unlink("lib/slow/n1.lick")
    write("lib/new.lick", own(9))
    assert lacks(run) == [
        ("unmade", "lib/new.lick", "", "it was never made"),
        ("stale", "lib/n0.lick", "", "the source changed since"),
        ("stale", "lib/slow/n1.lick", "", "the source is gone"),
    ]
    run("make", "lib", *FORMATS)
    gone = "its lick is gone"
    assert lacks(run) == [("stale", "lib/slow/n1.lick", "", "the source is gone")]
    run("make", "lib", *FORMATS, "--prune")
    assert lacks(run) == []
    write("lib/n0.lick", own(0).replace("Number 0", "Another"))
    run("make", "lib", *FORMATS)
    assert lacks(run) == [("files", f"out/n0/number-0.{end}", "", gone) for end in ("mid", "tab.txt")]


def test_licks_that_broke_or_cannot_be_read(run: Run) -> None:
    write("lib/n0.lick", WHOSE + 'lick "Number 0"\n| h7 e5 B8 B5 G7 G5 D7 D5 ||\n')
    Path("lib/n2.lick").write_bytes(b"#" * (1 << 20) + b"#")
    run("make", "lib", *FORMATS)
    older = "it is of an earlier version of its lick"
    assert lacks(run) == [
        ("unmade", "lib/n2.lick", "", "it could not be read"),
        ("unmade", "lib/n0.lick", "Number 0", "1 error"),
        ("stale", "lib/n2.lick", "", "the source cannot be read"),
        ("files", "out/n0/number-0.mid", "", older),
        ("files", "out/n0/number-0.tab.txt", "", older),
    ]


def test_formats_that_were_asked_for_and_not_made_and_files_that_were_not_asked_for(run: Run) -> None:
    write("lib/n0.lick", own(10))
    run("make", "lib/n0.lick", "--to", "tab")
    found = lacks(run)
    assert ("unmade", "lib/n0.lick", "", "not made as midi") in found
    run("make", "lib", "--to", "tab")
    gone = "its lick is gone"
    assert lacks(run) == [("files", f"out/n0/number-0.{end}", "", gone) for end in ("mid", "tab.txt")]
    write("lib/n2.lick", own(2) + "\n")
    run("make", "lib", "--to", "tab", "--prune")
    assert lacks(run) == [
        ("files", "out/n2/number-2.mid", "", "the last build did not make it: it may be out of date"),
    ]
    run("make", "lib/n4.lick", "--to", "tab", "--width", "120")
    assert ("stale", "lib/n4.lick", "", "it was made with other options than the last build") in lacks(run)


def test_files_that_were_changed_or_taken_away(run: Run) -> None:
    write("out/n0/number-0.tab.txt", "mended by hand")
    os.unlink("out/n2/number-2.mid")
    os.unlink("out/n4/number-4.mid")
    os.mkdir("out/n4/number-4.mid")
    assert lacks(run) == [
        ("files", "out/n0/number-0.tab.txt", "", "it was changed by hand"),
        ("files", "out/n2/number-2.mid", "", "it is gone"),
        ("files", "out/n4/number-4.mid", "", "a folder stands where the file would be"),
    ]


def test_a_file_that_was_changed_by_hand_is_named_once(run: Run) -> None:
    write("out/n0/number-0.tab.txt", "changed by hand")
    write("lib/n0.lick", own(0) + "\n")
    assert run("make", "lib", *FORMATS)[0] == 3
    assert lacks(run) == [("files", "out/n0/number-0.tab.txt", "", "it was changed by hand")]


def test_rights_authors_and_titles(run: Run) -> None:
    write("lib/n0.lick", lick(0))
    write("lib/slow/n1.lick", own(1).replace("Number 1", "number  2"))
    write("lib/n4.lick", own(4).replace("lick ", "from Number 3\nlick ").replace("Number 4", "Number 3"))
    run("make", "lib", *FORMATS, "--prune")
    assert lacks(run) == [
        ("titles", "lib/slow/n1.lick:4", "Number 2", "the title is that of lib/n2.lick:4 too"),
        ("rights", "lib/n0.lick:2", "Number 0", "no rights"),
        ("by", "lib/n0.lick:2", "Number 0", "no author"),
    ]


def test_a_house_that_changed(run: Run) -> None:
    write("lib/lickwright.toml", '[fields]\nfeel = "shuffle"\n')
    assert {(kind, why) for kind, _, _, why in lacks(run)} == {("stale", "its lickwright.toml changed since")}
    write("lib/lickwright.toml", "nonsense = 1\n")
    assert {(kind, why) for kind, _, _, why in lacks(run)} == {("stale", "lib/lickwright.toml has errors")}


def test_another_program(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lickwright.build.readiness.program_key", lambda: "another")
    assert lacks(run) == [("build", "", "", "it was made by another version of lickwright")]


def test_shares_that_are_missing_and_a_merge(run: Run) -> None:
    for n in (1, 3):
        run("make", "lib", *FORMATS, "--out", "some", "--shard", f"{n}/3")
    found = lacks(run, "some")
    assert ("build", "", "", "share 2 of 3 is missing") in found
    run("make", "lib", *FORMATS, "--out", "rest", "--shard", "2/3")
    run("make", "--merge", "some", "rest", "--out", "deep/merged")
    assert lacks(run, "deep/merged") == []
    write("lib/late.lick", own(20))
    assert lacks(run, "deep/merged") == [("unmade", "lib/late.lick", "", "it was never made")]


def test_a_large_library_that_is_not_ready_fits_the_screen(run: Run) -> None:
    for n in range(40):
        write(f"lib/many/n{n}.lick", lick(n + 100))
    run("make", "lib", "--to", "tab")
    code, out, _ = run("library", "out", "--ready")
    assert code == 1
    assert len(out.splitlines()) < 30
    assert "licks that do not say their rights: 40\n" in out
    assert "  and 37 more: --limit 40 shows all\n" in out


def test_what_is_no_output_folder_is_wrong_usage(run: Run) -> None:
    for place in ("lib", "nowhere", "lib/n0.lick"):
        code, _, err = run("library", place, "--ready")
        assert code == 2
        assert "--ready looks at an output folder of lickwright make" in err
    assert run("library", "out", "--ready", "--duplicates")[0] == 2
    Path("out/.lickwright.db").write_bytes(b"nothing")
    assert run("library", "out", "--ready")[0] == 3
