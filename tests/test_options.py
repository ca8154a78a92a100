"""No option is taken and ignored: every pair of options of every command is honoured, refused, or known to mean nothing together.

The pairs come from click's own list of parameters. Whether an option is honoured beside another is seen from outside: something that a user can see
changes when it is left out. `python tests/test_options.py COMMAND` prints what is not as the tables say.
"""

from __future__ import annotations

import importlib
import os
import re
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from functools import cache
from io import BytesIO, TextIOWrapper
from pathlib import Path
from typing import NamedTuple

import click
import pytest

from lickwright.build import dask_executor
from lickwright.cli import main, make, make_request
from lickwright.cli.commands import COMMANDS

LICK = """by Mara Quill
key A minor
box 1
tempo 240
chords Am | D7
lick "{title}"
| e8 e5 B8 B5 G7 G5 D7 D5 | e8 e5 B8 B5 G7 G5 D7 {last} ||
"""
BAD = 'lick "Bad {n}"\n| h7 e5 B8 B5 G7 G5 D7 D5 ||\n'
ONE, TWO = LICK.format(title="One", last="D5"), LICK.format(title="Two", last="G9")  # the second with a warning
SHORT = LICK.replace("e8 e5 B8 B5 G7 G5 D7 D5 | e8 e5 B8 B5", "e8 - - - | e8 -  B8 -")
SAME = 'lick "{title}"\n| e8 e5 B8 B5 G7 G5 D7 D5 ||\n'


class Scene(NamedTuple):
    """A command as it is called, and the options that are tried with it."""

    command: str
    words: tuple[str, ...]
    values: dict[str, str]  # of options that take one
    without: tuple[str, ...] = ()  # options that need another world, or that the words have already


_MAKE = {
    "--to": "tab,midi", "--out": "other", "--tempo": "50%", "--width": "40", "--count-in": "1", "--repeat": "2", "--vary": "3", "--sound": "lead",
    "--format": "flac", "--ladder": "50%,20,110%", "--longest": "2", "--bars": "1", "--jobs": "2", "--findings": "github",
    "--report": "report.json", "--shard": "1/2", "--zip": "course.zip", "--names": "{book-number}-{title}", "--layout": "flat",
    "--sheet-format": "svg", "--paper": "letter", "--print-size": "large", "--book": "Course",
}  # fmt: skip
_LIKE = {"--like": "a.lick", "--title": "Two", "--format": "json", "--limit": "1"}
_MOVE = {
    "--key": "G minor",
    "--box": "3",
    "--octave": "up",
    "--tuning": "drop D",
    "--by": "shape",
    "--out": "moved.lick",
}
# Tried in scenes and tests of their own: they need a cluster or shares, are not seen from outside, or take half a minute a run.
_ELSEWHERE = ("--share-pages", "--silent-page", "--cluster", "--merge", "--jobs", "--no-sync", "--practice", "--ladder")
SCENES = {
    "make": Scene("make", ("small", "--jobs", "1"), _MAKE, _ELSEWHERE),
    "make an archive": Scene(
        "make", ("small", "--jobs", "1", "--zip", "course.zip"), _MAKE, (*_ELSEWHERE, "--zip", "--shard", "--watch"),
    ),
    "make a merge": Scene("make", ("part1", "part2", "--merge"), {**_MAKE, "--cluster": "tcp://name:8786"}, ("--merge",)),
    "show": Scene("show", ("a.lick",), {"--width": "40"}),
    "assign": Scene("assign", ("Mara", "a.lick"), {
        "--lick": "Two", "--from": "50%", "--to": "110%", "--step": "10", "--by": "2026-12-05", "--note": "Slowly.", "--out": "hers", "--paper": "letter",
    }),
    "check": Scene("check", ("many",), {"--format": "json"}),
    "tidy": Scene("tidy", ("many",), {}),
    "box": Scene("box", ("C major",), {
        "--for": "a.lick", "--show": "notes", "--svg": "box.svg", "--tuning": "drop D", "--capo": "2", "--frets": "15",
        "--numbering": "tonic", "--width": "60",
    }),
    "move to a key": Scene("move", ("a.lick", "One", "--key", "G minor"), _MOVE, ("--key", "--all-keys")),
    "move to a box": Scene("move", ("a.lick", "One", "--box", "3"), _MOVE, ("--box", "--all-boxes", "--by")),  # a shape stays in its box
    "move": Scene("move", ("a.lick", "One"), _MOVE, ("--out", "--overwrite", "--by")),
    "compare": Scene("compare", ("a.lick", "b.lick"), {"--format": "json", "--width": "60"}),
    "find": Scene("find", ("lib",), _LIKE),
    "find like": Scene("find", ("lib", "--like", "a.lick", "--title", "Two"), _LIKE, ("--like", "--title")),
    "library": Scene("library", ("lib-out",), {"--format": "json", "--limit": "1"}),
    "library's duplicates": Scene("library", ("lib-out", "--duplicates"), {"--format": "json", "--limit": "1"}, ("--duplicates",)),
}  # fmt: skip
NOT_TRIED = {
    "listen": "needs a recording; its contradictions are in test_cli_listen.py",
    "play": "its options are those of make, and it wants a sound device",
    "read": "it reads other formats; its options are in test_cli_read.py and test_cli_read_scores.py",
    "why": "it has none",
}


def options(scene: Scene) -> dict[str, list[str]]:
    """The options of a scene's command, each with what is written for it."""
    command = importlib.import_module(f"lickwright.cli.{scene.command}").command
    return {
        one.opts[0]: [one.opts[0], *([] if one.is_flag else [scene.values[one.opts[0]]])]
        for one in command.params
        if isinstance(one, click.Option) and one.opts[0] not in scene.without
    }


# Pairs that are wrong usage.
_BUILD_ONLY = (
    "--to", "--tempo", "--width", "--chord-tones", "--single-channel", "--silent-page", "--count-in", "--sound", "--click", "--repeat", "--answer", "--backing",
    "--vary", "--bars", "--format", "--practice", "--ladder", "--longest", "--compressed", "--watch", "--check-contents", "--no-sync", "--shard", "--cluster",
    "--zip", "--sheet-format", "--paper", "--print-size", "--left-handed", "--black", "--count", "--staff", "--chord-shapes", "--book", "--share-pages",
)  # fmt: skip
REFUSED: dict[str, list[tuple[str, str]]] = {
    "make": [
        ("--watch", "--dry-run"), ("--watch", "--report"), ("--watch", "--findings"), ("--all", "--findings"),
        ("--zip", "--shard"), ("--zip", "--watch"), ("--book", "--shard"), ("--book", "--watch"), ("--shard", "--names"), ("--shard", "--layout"),
    ],
    "make an archive": [("--all", "--findings")],
    "check": [
        ("--format", "--all"), ("--format", "--fix"), ("--fix", "--all"), ("--fix", "--profile"),
        *(("--in-place", other) for other in ("--format", "--strict", "--all", "--profile")),
    ],
    "tidy": [("--check", "--in-place")],
    "box": [
        *(("--for", other) for other in (
            "--show", "--svg", "--tuning", "--capo", "--frets", "--left-handed", "--numbering", "--width", "--overwrite",
        )),
        *(("--overwrite", other) for other in (
            "--show", "--tuning", "--capo", "--frets", "--left-handed", "--numbering", "--width",
        )),
        ("--svg", "--width"),
    ],
    "move to a key": [
        ("--box", "--all-boxes"),
        *(("--overwrite", other) for other in ("--box", "--octave", "--tuning", "--by", "--all-boxes")),
    ],
    "move to a box": [
        ("--key", "--all-keys"), *(("--overwrite", other) for other in ("--key", "--octave", "--tuning", "--all-keys")),
    ],
    "move": [("--key", "--all-keys"), ("--box", "--all-boxes")],
    "compare": [("--format", "--all"), ("--format", "--width")],
    "find": [
        ("--format", "--paths"), *(("--title", other) for other in ("--format", "--paths", "--limit")),
        *(("--like", other) for other in ("--format", "--paths", "--limit")),  # which of the two licks?
    ],
    "find like": [("--format", "--paths")],
    "library": [("--ready", "--duplicates"), *(("--families", other) for other in ("--ready", "--format", "--limit"))],
    "library's duplicates": [("--ready", "--families"), ("--ready", "--format"), ("--ready", "--limit")],
}  # fmt: skip

# (option, beside another): it changes nothing there, and why that harms nobody. `*`: beside every other.
HARMLESS: dict[str, dict[tuple[str, str], str]] = {
    "make an archive": {
        (option, "--dry-run"): "what an archive would hold is not foretold, only that it would be written"
        for option in ("--names", "--layout")
    },
    "box": {
        ("--width", "--tuning"): "drop D has no boxes of its own, and the pictures of a whole neck stand alone anyway"
    },
    "make": {("--strict", "--watch"): "watching ends with the exit code of Ctrl-C"},
    "check": {
        ("--profile", "--format"): "JSON always has the profiles",
        ("--all", "--profile"): "profiles stand under each file's findings, so all are shown",
    },
}


# --- the world -------------------------------------------------------------------------------------------------------


def _write(place: Path, text: str) -> None:
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_text(text)


def _call(folder: Path, arguments: list[str]) -> tuple[int, str, str]:
    """The command line in this process; its streams as they would be in a pipe."""
    before = os.getcwd(), sys.stdout, sys.stderr
    out, err = BytesIO(), BytesIO()
    os.chdir(folder)
    sys.stdout, sys.stderr = TextIOWrapper(out, "utf-8"), TextIOWrapper(err, "utf-8")
    try:
        code = main(arguments)
        sys.stdout.flush()
        sys.stderr.flush()
        return code, out.getvalue().decode(), err.getvalue().decode()
    finally:
        os.chdir(before[0])
        sys.stdout, sys.stderr = before[1:]


def world(folder: Path) -> Path:
    """Files to work on: a small library and its outputs, shares of it, files in the way, many mistakes."""
    for title, name in (("One", "one"), ("Two", "two"), ("Gone", "gone")):
        _write(folder / f"lib/{name}.lick", LICK.format(title=title, last="G9" if title == "Two" else "D5"))
    for n in (1, 2):
        _write(folder / f"lib/same{n}.lick", SAME.format(title=f"Same {n}"))
    _write(folder / "lib/moved.lick", "from Same 1\n" + SAME.format(title="Same 1, moved"))
    for title, last in (("One", "D5"), ("Two", "G9"), ("Alpha", "D5"), ("Gone", "D5")):
        _write(folder / f"small/{title.lower()}.lick", SHORT.format(title=title, last=last))
    _call(folder, ["make", "lib", "--out", "lib-out", "--to", "tab"])
    # Alpha alone is in the second share of two.
    for to in ("out", "other"):
        _call(folder, ["make", "small", "--out", to, "--to", "tab"])
    for n in (1, 2):
        _call(folder, ["make", "lib", "--out", f"part{n}", "--to", "tab", "--shard", f"{n}/2"])
    _call(folder, ["make", "--merge", "part1", "part2", "--out", "merged"])
    os.unlink(folder / "lib/gone.lick")
    os.unlink(folder / "small/gone.lick")
    for n in (1, 2):
        _call(folder, ["make", "lib", "--out", f"part{n}", "--to", "tab", "--shard", f"{n}/2", "--prune"])
    _write(folder / "a.lick", ONE + "\n" + "".join(TWO.partition("lick ")[1:]))
    _write(folder / "b.lick", ONE.replace("B8", "B6").replace("G7", "G9") + "\n" + "".join(TWO.partition("lick ")[1:]))
    for n in range(60):
        _write(folder / f"many/bad{n}.lick", BAD.format(n=n))
    _write(folder / "many/fine.lick", ONE.replace("e8 e5 B8", "e8 e5 b8"))
    return folder


def in_the_way(folder: Path) -> Path:
    """The same with files of the user's in the way of every output."""
    for to in ("out", "other", "merged"):
        for end in ("tab.txt", "mid", "timing.csv", "wav", "flac", "1.wav", "bar-1.mid"):
            _write(folder / f"{to}/one/one.{end}", "a user's own")
    for name in ("report.json", "box.svg", "moved.lick"):
        _write(folder / name, "a user's own")
    return folder


def warned(folder: Path) -> Path:
    """The same with nothing worse than a warning."""
    shutil.rmtree(folder / "many")
    _write(folder / "many/two.lick", TWO)
    return folder


WORLDS: tuple[Callable[[Path], Path], ...] = (lambda folder: folder, in_the_way, warned)
_TIMES = re.compile(r"\d+\.\d s\b|about [^;,\n]*, as fast as[^\n]*|about [^;,\n]*, at a guess[^\n]*")


class Runner:
    """Runs a scene in a copy of each world."""

    def __init__(self, folder: Path, scene: Scene) -> None:
        self._folder = folder
        self._scene = scene
        self._worlds = []
        for n, change in enumerate(WORLDS):
            place = folder / f"world{n}"
            if n == 0:
                world(place)
            else:
                shutil.copytree(folder / "world0", place)
            self._worlds.append(change(place))

    def seen(self, world: int, *arguments: str) -> tuple[object, ...]:
        """What a user sees of a call in one world: exit code, both streams, all files."""
        return self._in(self._worlds[world], arguments)

    def _in(self, place: Path, arguments: tuple[str, ...]) -> tuple[object, ...]:
        copy = self._folder / "copy"
        shutil.copytree(place, copy)
        try:
            code, *said = _call(copy, [self._scene.command, *self._scene.words, *arguments])
            files = {
                str(path.relative_to(copy)): path.read_bytes()
                for path in copy.rglob("*") if path.is_file() and ".lickwright" not in path.name
            }  # fmt: skip
        finally:
            shutil.rmtree(copy)
        if "report.json" in files:
            files["report.json"] = re.sub(rb'"(seconds|seal)": [^\n]*', b"", files["report.json"])
        return code, *(_TIMES.sub("", text) for text in said), files


def ignored(scene: Scene, runner: Runner, first: str) -> Iterator[tuple[str, str, str]]:
    """Of the pairs that begin with one option: both, and "refused" or "ignored" where the first of the two changes nothing."""
    known = options(scene)
    names = list(known)

    @cache
    def seen(world: int, *some: str) -> tuple[object, ...]:
        return runner.seen(world, *(word for name in some for word in known[name]))

    def same(some: tuple[str, ...], others: tuple[str, ...]) -> bool:
        return all(seen(world, *some) == seen(world, *others) for world in range(len(WORLDS)))

    for second in names[names.index(first) + 1 :]:
        both = (first, second)
        if seen(0, *both)[0] == 2:
            yield first, second, "refused"
            continue
        for one, other in ((first, second), (second, first)):
            if same(both, (other,)) and not same((one,), ()):
                yield one, other, "ignored"


# --- the tests -------------------------------------------------------------------------------------------------------


def test_every_command_is_tried() -> None:
    assert {scene.command for scene in SCENES.values()} | NOT_TRIED.keys() == set(COMMANDS)
    for name, scene in SCENES.items():
        known = options(scene)
        for table in (REFUSED.get(name, []), HARMLESS.get(name, {})):
            assert {option for pair in table for option in pair} - {"*"} <= known.keys(), name


@pytest.mark.parametrize("name", REFUSED)
def test_pairs_that_are_wrong_usage(name: str, tmp_path: Path) -> None:
    scene = SCENES[name]
    known = options(scene)
    _write(tmp_path / "a.lick", ONE + "\n" + "".join(TWO.partition("lick ")[1:]))
    _write(tmp_path / "b.lick", ONE)
    _write(tmp_path / "lib/a.lick", ONE)
    _write(tmp_path / "lib-out/.lickwright.db", "")
    for one, other in REFUSED[name]:
        code, out, err = _call(tmp_path, [scene.command, *scene.words, *known[one], *known[other]])
        assert (code, out) == (2, ""), (one, other, err)
        assert err.startswith("error: ")


@pytest.mark.parametrize("option", _BUILD_ONLY)
def test_a_merge_refuses_what_only_a_build_can_do(option: str, tmp_path: Path) -> None:
    scene = SCENES["make a merge"]
    code, _, err = _call(tmp_path, ["make", *scene.words, *options(scene)[option]])
    assert (code, f"--merge takes over what the shares hold: leave {option} out" in err) == (2, True)


# --- options of make that the pairs leave out, since a run with them takes long -----------------------------------------


def asked(arguments: list[str]) -> tuple[object, ...] | None:
    """What `lickwright make` asks of a build and of one source; None for wrong usage. Nothing is built."""
    with make.command.make_context("make", arguments) as context:
        try:
            make_request.refuse_contradictory_options(context.params)
            request = make_request.MakeRequest(context)
            outputs = [output and vars(output) for output in (request.archive(), request.book())]
            build = request.build_config()
            compile_options = build.options_of("small/one.lick")
        except click.UsageError:
            return None
        config = [value for value in build if not callable(value)]
        shown = [context.params[name] for name in ("everything", "strict", "findings", "watch", "report", "cluster")]
        return config, compile_options.formats, compile_options.options, outputs, shown


_IMPLIED = {("--practice", "--ladder"): "a ladder asks for the practice set"}


@pytest.mark.parametrize("first", ["--practice", "--ladder", "--jobs"])
def test_practice_and_jobs_are_asked_for_beside_every_other_option(
    first: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _write(tmp_path / "small/one.lick", ONE)
    monkeypatch.chdir(tmp_path)
    values = {**_MAKE, "--cluster": "tcp://name:8786", "--jobs": "7"}
    known = options(Scene("make", (), values, ("--merge",)))
    alone, nothing = asked(["small", *known[first]]), asked(["small"])
    assert alone is not None and alone != nothing
    for other in known.keys() - {first}:
        both, without = asked(["small", *known[first], *known[other]]), asked(["small", *known[other]])
        if both is None:  # wrong usage, which the other option is by itself
            assert without is None, other
            continue
        assert both != without or (first, other) in _IMPLIED, f"{first} is ignored beside {other}"
        means_nothing = without == nothing or (other, first) in _IMPLIED
        assert both != alone or means_nothing, f"{other} is ignored beside {first}"


def test_a_cluster_is_looked_for_beside_every_other_option(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_cluster(address: str, say: Callable[[str], None], jobs: int) -> None:
        raise dask_executor.NoCluster(f"no cluster at {address} for {jobs} jobs")

    monkeypatch.setattr(dask_executor, "Cluster", no_cluster)
    _write(tmp_path / "small/one.lick", ONE)
    known = options(Scene("make", (), _MAKE, ("--cluster", "--merge", "--share-pages", "--silent-page")))
    for other, words in known.items():
        code, out, err = _call(tmp_path, ["make", "small", "--cluster", "tcp://name:8786", *words])
        refused = other in ("--watch", "--dry-run")
        assert (code, out) == (2, ""), other
        jobs = "for 2 jobs" if other == "--jobs" else "no cluster at tcp://name:8786"
        assert ("--cluster goes neither with" if refused else jobs) in err, other


def _tried() -> list[tuple[str, str]]:
    found = []
    for name, scene in SCENES.items():
        tried = [option for option in options(scene) if name != "make a merge" or option not in _BUILD_ONLY]
        found += [(name, option) for option in tried[:-1]]
    return found


def differs(name: str, first: str, folder: Path) -> list[str]:
    """In what the pairs that begin with `first` are not as the tables say."""
    scene = SCENES[name]
    if name == "make a merge":
        scene = scene._replace(without=(*scene.without, *_BUILD_ONLY))
    found = list(ignored(scene, Runner(folder, scene), first))
    refused = {frozenset(pair) for pair in REFUSED.get(name, [])}
    harmless = HARMLESS.get(name, {})
    wrong = [
        f"{one} {how} with {other}"
        for one, other, how in found
        if (
            frozenset((one, other)) not in refused
            if how == "refused"
            else not {(one, other), (one, "*"), ("*", other)} & harmless.keys()
        )
    ]
    said = {frozenset((one, other)) for one, other, how in found if how == "refused"}
    names = list(options(scene))
    pairs = [frozenset((first, other)) for other in names[names.index(first) + 1 :]]
    return wrong + [f"{' and '.join(sorted(pair))} are not refused" for pair in pairs if pair in refused - said]


@pytest.mark.slow
@pytest.mark.parametrize(("name", "first"), _tried())
def test_no_option_is_taken_and_ignored(name: str, first: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(time, "sleep", _nap)
    assert differs(name, first, tmp_path) == []


def _nap(seconds: float) -> None:
    """Ends what waits for a change, as Ctrl-C does."""
    raise KeyboardInterrupt


if __name__ == "__main__":
    import tempfile

    time.sleep = _nap
    for name, first in _tried():
        if not sys.argv[1:] or SCENES[name].command in sys.argv[1:]:
            with tempfile.TemporaryDirectory() as folder:
                for line in differs(name, first, Path(folder)):
                    print(f"{name}: {line}", flush=True)
