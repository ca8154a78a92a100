"""Folders and command lines into which faults are put, and the judge of what became of them.

A `Scene` is a tree of files, commands that prepare it, the command that is disturbed, and the command that is run after it. `Stage` plays it: a
run without a fault says what is right; each run with one is compared with that, and so is the next run after it.
"""

from __future__ import annotations

import json
import os
import shutil
import stat
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from injecting import Fault, Run, Server

KEPT = ".lickwright"  # how the names begin of what a build keeps for itself
TEMPORARY = ".lw-"  # and of files that are not yet in their place

_PORCH = """key A minor
lick "Porch Light"
| G5 G7 B5 B8 e5 B8 B5 G7 ||
lick "Second Porch"
| e8 e5 B8 B5 G7 G5 D7 D5 ||
"""
_GATE = 'key A minor\nlick "Gate"\n| e8 e5 B8 B5 G7 B5 B8 e5 ||\n'
_ARCH = 'key A minor\nlick "Arch"\n| e5 e8 B8 B5 G7 B5 B8 e8 ||\n'
_SLOW = 'key A minor\ntempo 60\nlick "Slow Gate"\n| A5 A7 D5 D7 G5 G7 B5 B8 ||\n'
_CHANGED = (
    'key A minor\nlick "Porch Light"\n| G5 G7 B5 B8 e8 B8 B5 G7 ||\nlick "Third Porch"\n| e8 e5 B8 B5 G7 G5 D7 D5 ||\n'
)
_SLIPS = 'key A minor\nLick "Slips"\n| b8 e8 e5 B8 B5 G7 G5 D7 ||\n'
_LOOSE = '# mine\nkey A minor\nby Mara Quill\nlick "Loose"\n| e8   e5 B8 - - - G7 D7 |  # end\n'
_SHORT = 'tempo 300\nmeter 1/4\nlick "Short"\n| e8 e5 ||\n'
_FOREIGN = "words of somebody else\n"
_USUAL = {
    "lib/porch.lick": _PORCH,
    "lib/gate.lick": _GATE,
    "lib/slow/slow-gate.lick": _SLOW,
    "out/gate/notes.txt": _FOREIGN,
    "all/gate/notes.txt": _FOREIGN,
    "family/notes.txt": _FOREIGN,
    "notes.txt": _FOREIGN,
}


class Scene(NamedTuple):
    """One command in one folder."""

    name: str
    command: tuple[str, ...]
    files: dict[str, str] = _USUAL
    prepared: tuple[tuple[str, ...], ...] = ()  # commands that come before
    changes: dict[str, str | None] = {}  # and what is written or (None) removed after them
    again: tuple[str, ...] | None = None  # the next run, where it is not the same command
    varies: frozenset[str] = frozenset()  # JSON files that say how long it took
    says: bool = False  # the answer is what stands on the screen
    daily: bool = False  # a sample of its faults is played every day
    chancy: bool = False  # its calls come in another order each time


def _big(number: int) -> str:
    """A source of 35 kB with one short lick: two of them are work for several processes."""
    return f'lick "Big {number}"\n| e8 e5 B8 B5 G7 G5 D7 D{number} ||\n' + "# a line of nothing at all\n" * 1300


_MAKE = ("make", "lib", "--jobs", "1", "--to", "tab,midi")
_BUILT = (_MAKE,)
_PAGES = ("make", "lib", "--jobs", "1", "--to", "page", "--silent-page")
_ZIP = ("make", "lib", "--to", "tab,midi", "--jobs", "1", "--zip", "course.zip")
_BOOK = ("make", "lib", "--jobs", "1", "--to", "sheet", "--book", "Slow blues")
_FLAT = ("--layout", "flat", "--names", "{book-number:02}-{title}")
_TAB = "e|-------------|\nB|-8p5---------|\nG|-----7b9--5--|\nD|-------------|\nA|-------------|\nE|-------------|\n"
_TABS = {"tabs/one.txt": _TAB, "tabs/sub/two.txt": _TAB.replace("7b9", "5h7"), "notes.txt": _FOREIGN}
_READ = ("read", "tabs", "--out", "licks", "--jobs", "1")
_REPORT = ("make", "lib/gate.lick", "--to", "tab,midi", "--report", "report.json")
_SUNG = {"gate.lick": "tempo 120\n" + _GATE, "notes.txt": _FOREIGN}
_TAKES = ("make", "gate.lick", "--to", "audio", "--out", "takes")
_LISTEN = ("listen", "takes", "--licks", "gate.lick", "--report", "all.json")
_FAMILY = ("move", "lib/gate.lick", "--all-boxes", "--out", "family/")
SCENES = (
    Scene("make", _MAKE),
    Scene("make what changed", _MAKE, prepared=_BUILT, changes={"lib/porch.lick": _CHANGED}),
    Scene("make a file", ("make", "lib/porch.lick", "--to", "tab,timing-json")),
    Scene(
        "make --prune",
        (*_MAKE, "--prune"),
        prepared=_BUILT,
        changes={"lib/porch.lick": _CHANGED, "lib/slow/slow-gate.lick": None},
        daily=True,
    ),
    Scene(
        "make --merge",
        ("make", "one", "two", "--merge", "--out", "all"),
        prepared=(
            (*_MAKE, "--shard", "1/2", "--out", "one"),
            (*_MAKE, "--shard", "2/2", "--out", "two"),
        ),
        daily=True,
    ),
    Scene("make --report", _REPORT, varies=frozenset({"report.json"})),
    Scene(
        "make --report again",
        _REPORT,
        prepared=(_REPORT,),
        changes={"lib/gate.lick": _GATE.replace("e8", "e5")},
        varies=frozenset({"report.json"}),
        daily=True,
    ),
    Scene("make --zip", _ZIP),
    Scene("make --zip again", (*_ZIP, "--layout", "flat"), prepared=(_ZIP,), changes={"lib/porch.lick": _CHANGED}),
    Scene("make --layout", (*_MAKE, *_FLAT)),
    Scene(
        "make --layout again",
        (*_MAKE, *_FLAT, "--prune"),
        prepared=((*_MAKE, *_FLAT),),
        changes={"lib/porch.lick": _CHANGED, "lib/slow/slow-gate.lick": None, "lib/arch.lick": _ARCH},
        daily=True,
    ),
    Scene("make another --layout", (*_MAKE, "--layout", "by-format"), prepared=((*_MAKE, *_FLAT),)),
    Scene("make sheets and a book", _BOOK),
    Scene("make a book again", _BOOK, prepared=(_BOOK,), changes={"lib/porch.lick": _CHANGED}),
    Scene("make pages", _PAGES),
    Scene(
        "make pages again",
        (*_PAGES, "--prune"),
        prepared=(_PAGES,),
        changes={"lib/porch.lick": _CHANGED, "lib/slow/slow-gate.lick": None},
    ),
    Scene("assign", ("assign", "Mara", "lib/porch.lick", "--silent-page")),
    Scene(
        "assign again",
        ("assign", "Mara", "lib/porch.lick", "--silent-page", "--step", "10", "--overwrite"),
        prepared=(("assign", "Mara", "lib/porch.lick", "--silent-page"),),
    ),
    Scene("make a recording", ("make", "short.lick", "--to", "audio"), files={"short.lick": _SHORT, "notes.txt": _FOREIGN}),
    Scene(
        "make in two processes",
        ("make", "big", "--jobs", "2"),
        files={"big/one.lick": _big(1), "big/two.lick": _big(2), "notes.txt": _FOREIGN},
        chancy=True,
    ),
    Scene("read", ("read", "mail.txt"), files={"mail.txt": _TAB, "notes.txt": _FOREIGN}),
    Scene("read a folder", _READ, files=_TABS, daily=True),
    Scene("read a folder again", _READ, files=_TABS, prepared=(_READ,), changes={"tabs/one.txt": _TAB.replace("8p5", "8p6")}),
    Scene(
        "check --fix --in-place",
        ("check", "--fix", "--in-place", "lib"),
        files={**_USUAL, "lib/slips.lick": _SLIPS, "lib/slow/slips.lick": _SLIPS},
        daily=True,
    ),
    Scene(
        "tidy --in-place",
        ("tidy", "--in-place", "lib"),
        files={**_USUAL, "lib/loose.lick": _LOOSE, "lib/slow/loose.lick": _LOOSE},
        daily=True,
    ),
    Scene("tidy", ("tidy", "lib"), files={**_USUAL, "lib/loose.lick": _LOOSE}, says=True),
    Scene(
        "move to a file",
        ("move", "lib/porch.lick", "--octave", "up", "--out", "moved.lick"),
        again=("move", "lib/porch.lick", "--octave", "up", "--out", "moved.lick", "--overwrite"),
    ),
    Scene(
        "move over a file",
        ("move", "lib/porch.lick", "--octave", "up", "--out", "moved.lick", "--overwrite"),
        files={**_USUAL, "moved.lick": _GATE},
        daily=True,
    ),
    Scene("move to a folder", _FAMILY),
    Scene(
        "move to a folder again",
        _FAMILY,
        prepared=(_FAMILY,),
        changes={"lib/gate.lick": _GATE.replace("e8", "e5")},
        daily=True,
    ),
    Scene("box --svg", ("box", "A blues", "1", "--svg", "pictures/box.svg"), files={**_USUAL, "pictures/a.txt": "-"}),
    Scene(
        "box --svg again",
        ("box", "A blues", "2", "--svg", "box.svg"),
        prepared=(("box", "A blues", "1", "--svg", "box.svg"),),
        daily=True,
    ),
    Scene(
        "listen",
        ("listen", "gate.lick", "takes/gate/gate.wav", "--report", "take.json", "--picture", "take.svg"),
        files=_SUNG,
        prepared=(_TAKES,),
    ),
    Scene("listen to a folder", _LISTEN, files=_SUNG, prepared=(_TAKES,), varies=frozenset({"all.json"})),
    Scene(
        "listen to a folder again, by a library's record",
        ("listen", "takes", "--licks", "out", "--report", "all.json"),
        files=_SUNG,
        prepared=(_TAKES, ("make", "gate.lick", "--to", "tab"), _LISTEN, (*_TAKES, "--tempo", "90%")),
        varies=frozenset({"all.json"}),  # what could not be read this time is in it
    ),
    Scene("find in an index", ("find", "out", "box:1"), prepared=_BUILT, says=True, daily=True),
    Scene("find in sources", ("find", "lib", "gate"), says=True),
    Scene("library", ("library", "out"), prepared=_BUILT, says=True, daily=True),
    Scene("check", ("check", "lib"), says=True),
    Scene("show", ("show", "lib/porch.lick"), says=True),
)  # fmt: skip


class Seen(NamedTuple):
    """One thing in a tree."""

    kind: str  # file, folder, link, other
    data: bytes  # of a file; where a link points
    mode: int


Tree = dict[str, Seen]


def tree(folder: Path) -> Tree:
    """Everything in a folder, by its path from there."""
    seen: Tree = {}
    for above, folders, names in os.walk(folder):
        for name in (*folders, *names):
            path = os.path.join(above, name)
            status = os.lstat(path)
            kind, data = "other", b""
            if stat.S_ISDIR(status.st_mode):
                kind = "folder"
            elif stat.S_ISLNK(status.st_mode):
                kind, data = "link", os.fsencode(os.readlink(path))
            elif stat.S_ISREG(status.st_mode):
                kind, data = "file", Path(path).read_bytes()
            seen[os.path.relpath(path, folder)] = Seen(kind, data, stat.S_IMODE(status.st_mode))
    return seen


def _temporary(path: str) -> bool:
    return any(part.startswith(TEMPORARY) for part in path.split("/"))


def _own(path: str) -> bool:
    """Whether it is a build's own: what it keeps for itself, or not yet in its place."""
    return _temporary(path) or any(part.startswith(KEPT) for part in path.split("/"))


def plain(seen: Tree) -> Tree:
    """Files and links that are anybody's to see: sources, outputs, and what is foreign."""
    return {path: one for path, one in seen.items() if one.kind != "folder" and not _own(path)}


def leftovers(seen: Tree) -> list[str]:
    """What a run must not leave behind."""
    return sorted(path for path in seen if _temporary(path) or ".lickwright.journal" in path.split("/"))


class Stage:
    """A scene played again and again in a folder of its own."""

    def __init__(self, scene: Scene, folder: Path, server: Server) -> None:
        self.scene = scene
        self.again = scene.again or scene.command
        self._server = server
        self._original = folder / "original"
        self._place = folder / "stage"
        self._prepare()
        self.before = plain(tree(self._original))
        self._set()
        self.clean = server.run(self._place, scene.command)
        self.after = plain(tree(self._place))
        self.clean_again = server.run(self._place, self.again)
        assert plain(tree(self._place)).keys() == self.after.keys(), "the next run changes what there is"
        assert not self.clean.err.count("sorry:") and self.clean.code == 0, self.clean
        assert self.clean_again.code == 0, self.clean_again
        assert not leftovers(tree(self._place))
        changed = self.before != self.after
        assert changed is not scene.says, "the command does nothing"
        self._varying = {path: sorted(json.loads(self.after[path].data)) for path in scene.varies}

    def _prepare(self) -> None:
        for path, text in self.scene.files.items():
            self._write(path, text)
        os.chmod(self._original / next(iter(self.scene.files)), 0o640)  # a mode that nobody gives by chance
        for command in self.scene.prepared:
            run = self._server.run(self._original, command)
            assert run.code == 0, run
        for path, change in self.scene.changes.items():
            if change is None:
                (self._original / path).unlink()
            else:
                self._write(path, change)

    def _write(self, path: str, text: str) -> None:
        file = self._original / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, "utf-8")

    def _set(self) -> None:
        shutil.rmtree(self._place, ignore_errors=True)
        shutil.copytree(self._original, self._place, symlinks=True)

    def play(self, fault: Fault) -> tuple[Run, list[str]]:
        """One run with a fault, and the next without: the first of them, and what is wrong."""
        self._set()
        run = self._server.run(self._place, self.scene.command, fault)
        stands = tree(self._place)
        wrong = [f"at once: {words}" for words in self._judge(fault, run, stands)]
        following = self._server.run(self._place, self.again)
        wrong += [f"next run: {words}" for words in self._judge_next(following)]
        return run, wrong

    # --- what is wrong with a disturbed run

    def _judge(self, fault: Fault, run: Run, stands: Tree) -> list[str]:
        checks: tuple[Callable[[Fault, Run, Tree], list[str]], ...] = (
            self._ending,
            self._files,
            self._truth,
            self._tidiness,
        )
        return [words for check in checks for words in check(fault, run, stands)]

    def _ending(self, fault: Fault, run: Run, stands: Tree) -> list[str]:
        allowed = {self.clean.code, 128 + fault.signal if fault.signal else 3}
        if run.hung:
            return ["hangs"]
        if any(words in run.err for words in ("Traceback", "Exception ignored", "sorry:")):
            return [f"ends with {run.code} and a mistake of ours: {run.err.splitlines()[-1]}"]
        if run.code not in allowed:
            return [f"ends with {run.code}: {run.err[-300:]}"]
        wrong = []
        if run.code != self.clean.code:
            return wrong
        is_said = "cannot be read" in run.out  # where it says so, it is true
        if self.scene.says and run.out != self.clean.out and not is_said:
            wrong.append(f"ends well with another answer: {run.out[:300]} {run.err[:300]}")
        for path in self._different(plain(stands), self.after):
            wrong.append(f"ends well, and {path} is not as it should be")
        return wrong

    def _files(self, fault: Fault, run: Run, stands: Tree) -> list[str]:
        wrong = []
        now = plain(stands)
        for path, one in now.items():
            known = [seen[path] for seen in (self.before, self.after) if path in seen]
            if not known:
                wrong.append(f"{path} is nothing that anybody wanted")
            elif one not in known and not self._varied(path, one):
                wrong.append(f"{path} is torn or changed: {one.mode:o} {one.data[:60]!r}")
        wrong += [f"{path} is lost" for path in self.before if path not in now and path in self.after]
        return wrong

    def _truth(self, fault: Fault, run: Run, stands: Tree) -> list[str]:
        """A message that a file was not written must be true of it."""
        wrong = []
        for line in run.err.splitlines():
            path, _, said = line.partition(": error: nothing was written")
            one = plain(stands).get(path)
            if said and one is not None and one != self.before.get(path):
                wrong.append(f"says that nothing was written, and {path} is new")
        return wrong

    def _tidiness(self, fault: Fault, run: Run, stands: Tree) -> list[str]:
        excused = fault.forever or fault.name.endswith(("unlink", "list")) or run.code in (137, 143)
        left = [path for path in stands if _temporary(path)]
        return [f"leaves {path}" for path in left] if not excused else []

    def _judge_next(self, run: Run) -> list[str]:
        stands = tree(self._place)
        wrong = [] if run.code == self.clean_again.code else [f"ends with {run.code}: {run.err[-300:]}"]
        if self.scene.says and run.out != self.clean_again.out:
            wrong.append(f"has another answer: {run.out[:300]}")
        wrong += [f"{path} is not as it should be" for path in self._different(plain(stands), self.after)]
        wrong += [f"leaves {path}" for path in leftovers(stands)]
        return wrong

    def _different(self, now: Tree, right: Tree) -> list[str]:
        return sorted(
            path
            for path in now.keys() | right.keys()
            if now.get(path) != right.get(path)
            and not (path in now and path in right and self._varied(path, now[path]))
        )

    def _varied(self, path: str, one: Seen) -> bool:
        """Whether it is a whole report, whatever the numbers in it."""
        if path not in self._varying:
            return False
        try:
            return sorted(json.loads(one.data)) == self._varying[path]
        except (ValueError, TypeError):
            return False
