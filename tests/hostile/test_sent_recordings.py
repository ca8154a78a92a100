"""Recordings, reports and records that somebody sends, for `lickwright listen`: nothing outside is touched, and nothing made up is believed."""

from __future__ import annotations

import json
import os
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from folders import KINDS, LEADING_OUT, home, rewrite, seen

from lickwright.cli import main
from lickwright.cli.listen_entries import known_entries
from lickwright.cli.listen_take import REPORT_SEAL

FOLDER = ["listen", "takes", "--licks", "lib/n0000.lick", "--report", "all.json"]
TAKE = ["listen", "lib/n0000.lick", "takes/quiet.wav", "--report", "take.json", "--picture", "take.svg"]


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    place = home(tmp_path / "home")
    (place / "takes").mkdir()
    soundfile.write(place / "takes/quiet.wav", np.zeros(4_000, np.float32), 8_000)
    return place


def _run(command: list[str], capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    began = time.process_time()
    code = main(command)
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    assert "sorry:" not in err, err
    assert code in (0, 1, 2, 3), err
    assert time.process_time() - began < 20
    return code, out, err


@pytest.mark.parametrize("kind", KINDS)
def test_something_else_where_a_report_would_be(here: Path, kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    for name, command in (("all.json", FOLDER), ("take.json", TAKE), ("take.svg", TAKE)):
        path = here / name
        try:
            KINDS[kind](path, here / "docs")
        except OSError as e:
            pytest.skip(f"a {kind} cannot be made here: {e}")
        before = seen(here, "takes")
        code, _, err = _run(command, capsys)
        after = seen(here, "takes")
        assert {key: after[key] for key in before} == before
        assert code == (1 if kind == "device" else 3), err
        os.rename(path, here / f"docs/{name}") if kind != "folder of links" else os.rename(path, here / f"aside-{name}")
        for left in ("take.json", "take.svg"):
            (here / left).unlink(missing_ok=True)


@pytest.mark.parametrize("kind", KINDS)
def test_something_else_that_is_called_a_recording(here: Path, kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    try:
        KINDS[kind](here / "takes/other.wav", here / "docs")
    except OSError as e:
        pytest.skip(f"a {kind} cannot be made here: {e}")
    before = seen(here, "all.json")
    _run(FOLDER, capsys)
    _run(["listen", "lib/n0000.lick", "takes/other.wav"], capsys)
    assert seen(here, "all.json") == before
    names = [entry["file"] for entry in json.loads(Path("all.json").read_text("utf-8"))["recordings"]]
    assert "quiet.wav" in names


# --- a report that somebody made, with a seal that holds ---------------------------------------------------------------


def _sealed(path: Path, body: bytes) -> None:
    path.write_bytes(b"".join(REPORT_SEAL.add_to([body])))


_THROUGH: dict[str, Any] = {"pauses": [], "skips": [], "bars": [], "begun_again": 0, "breaks_off": False}


def _entry(**more: Any) -> dict[str, Any]:
    report = {
        "refusal": "", "caution": "", "passes": [{"tempo_percent": 100.0, "score": {"of_100": 100}, "remarks": [], **_THROUGH}], "best": 0,
        "practice": [], "practice_steps": [],
        "headline": "", "facts": [],
    }  # fmt: skip
    usual = {
        "file": "quiet.wav", "state": "x", "lick": "N", "matched_by": "name", "error": "", "bug": False, "notes": [], "differs": False,
        "report": report,
    }  # fmt: skip
    return usual | more


def _reported(*entries: Any) -> bytes:
    lines = ",\n ".join(json.dumps(entry) for entry in entries)
    return f'{{"format": "lickwright listening reports 1",\n "recordings": [\n {lines}\n ]'.encode()


def _within(**more: Any) -> dict[str, Any]:
    entry = _entry()
    return entry | {"report": entry["report"] | more}


def _passed(**more: Any) -> dict[str, Any]:
    return _within(passes=[{"tempo_percent": 1.0, "score": {"of_100": 1}, "remarks": [], **_THROUGH} | more])


BAD_ENTRIES: list[Any] = [
    None, 7, "x", [], {}, _entry(file=3), _entry(file=None), _entry(state=["x"]), _entry(lick=7), _entry(lick=None), _entry(error=None),
    _entry(bug=True), _entry(differs="no"), _entry(notes="all"), _entry(notes=[1]), _entry(report=[]), _entry(report={}),
    _within(passes=[]), _within(passes=None), _within(passes=[None]), _within(best=-1), _within(best=1), _within(best="0"), _within(best=True),
    _passed(tempo_percent="x"), _passed(score={"of_100": 10**9}), _passed(score=None), _passed(remarks=None), _passed(remarks=[None]),
    _passed(remarks=[{"about": "note", "bar": "1"}]), _passed(remarks=[{"about": [], "bar": 1}]), _passed(remarks=[{"about": "note", "bar": 10**9}]),
    _within(practice_steps=None), _within(practice_steps=[3]), _within(practice_steps=[{"short": 7}]),
    _within(practice=[None]), _within(practice="x"), _within(headline=None), _within(facts="x"), _within(facts=[7]),
    _passed(remarks=[{"about": "note", "bar": 1, "place": 1, "words": ""}]), _passed(remarks=[{"about": "note", "bar": 1, "place": "", "words": None}]),
    _passed(pauses=None), _passed(bars=[None]), _passed(pauses=[7]), _passed(skips=[{"bar": 10**9}]), _passed(begun_again="x"), _passed(breaks_off=None),
    _within(refusal=None), _within(caution=3), _within(tuning_cents=float("nan")), _passed(tempo_percent=float("inf")),
]  # fmt: skip


def test_a_good_entry_is_known_and_a_bad_one_is_not(tmp_path: Path) -> None:
    path = tmp_path / "all.json"
    _sealed(path, _reported(_entry()))
    assert list(known_entries(str(path))) == ["quiet.wav"]
    for bad in BAD_ENTRIES:
        _sealed(path, _reported(bad))
        assert known_entries(str(path)) == {}, bad
    _sealed(path, _reported(*BAD_ENTRIES, _entry()))
    assert list(known_entries(str(path))) == ["quiet.wav"]


BODIES: dict[str, bytes] = {
    "empty": b"",
    "another format": b'{"format": "lickwright listening reports 2",\n "recordings": [\n ]',
    "no list": b'{"format": "lickwright listening reports 1",\n "recordings": 3',
    "deep": _reported().removesuffix(b"\n \n ]") + b'\n {"file": ' + b"[" * 500_000,
    "many brackets": _reported().removesuffix(b"\n \n ]") + b'\n {"file": [' + b"[]," * 1_000_000 + b"[]]}\n ]",
    "a number without end": _reported().removesuffix(b"\n \n ]") + b'\n {"file": ' + b"9" * 1_000_000 + b"}\n ]",
    "a number beyond all": _reported(_entry()).replace(b"100.0", b"1e999"),
    "a line of 30 MB": _reported().removesuffix(b"\n \n ]") + b'\n {"file": "' + b"x" * (30 << 20) + b'"}\n ]',
    "no UTF-8": _reported().removesuffix(b"\n \n ]") + b'\n {"file": "\xff\xfe"}\n ]',
    "bytes of nothing": _reported() + bytes(100_000),
}


@pytest.mark.parametrize("name", BODIES)
def test_a_report_that_was_made_up_is_not_believed(here: Path, name: str, capsys: pytest.CaptureFixture[str]) -> None:
    path = here / "all.json"
    _sealed(path, BODIES[name])
    assert known_entries(str(path)) == {}
    code, out, _ = _run(FOLDER, capsys)  # its seal holds, so it may be replaced
    assert code in (1, 3)
    assert "quiet.wav" in out
    assert [entry["file"] for entry in json.loads(path.read_text("utf-8"))["recordings"]] == ["quiet.wav"]


def test_a_report_without_a_seal_is_neither_believed_nor_replaced(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    body = _reported(_entry()) + b"}\n"
    (here / "all.json").write_bytes(body)
    code, _, err = _run(FOLDER, capsys)
    assert code == 3
    assert "not overwritten" in err
    assert (here / "all.json").read_bytes() == body


# --- the record of a library -------------------------------------------------------------------------------------------

BY_RECORD = ["listen", "takes", "--licks", "out", "--report", "all.json"]


@pytest.mark.parametrize("kind", KINDS)
def test_something_else_in_the_place_of_a_library_s_record(
    here: Path, kind: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (here / "out/.lickwright.db").unlink()
    try:
        KINDS[kind](here / "out/.lickwright.db", here / "docs")
    except OSError as e:
        pytest.skip(f"a {kind} cannot be made here: {e}")
    before = seen(here)
    code, out, err = _run(BY_RECORD, capsys)
    assert (code, out) == (3, "")
    assert len(err.splitlines()) <= 3, err
    assert seen(here) == before


def test_a_record_that_leads_out_is_read_as_licks_and_says_nothing_of_what_is_there(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    secret = "a secret word that no lick has"
    (here / "docs/secret.txt").write_text(f"{secret}\n" * 5)
    for path in (*LEADING_OUT, "../docs/secret.txt", "../docs/accounts.db", "/proc/self/environ", "/dev/zero"):
        if "\0" in path:
            continue
        rewrite(here / "out", ("UPDATE sources SET path = ? WHERE target = 'n0000'", (path,)))
        before = seen(here, "out", "all.json")
        _, out, err = _run(BY_RECORD, capsys)
        assert secret not in out + err
        assert len(err.splitlines()) <= 6, err
        assert seen(here, "out", "all.json") == before
        (here / "all.json").unlink(missing_ok=True)
