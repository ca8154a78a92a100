"""What becomes of scores and MIDI files that nobody here wrote: those inside of the packages music21 and pretty_midi.

`python tests/bench/foreign.py [ARCHIVE …]` reads every MusicXML and MIDI file in wheels and source archives; without any it downloads the two packages with
pip, into a temporary folder, and installs nothing. Prints how many are read, refused, and read without loss: nothing left out, moved or written otherwise.
"""

from __future__ import annotations

import subprocess
import sys
import tarfile
import tempfile
import time
import traceback
import zipfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from lickwright.core.source import Unreadable
from lickwright.importers.midi.reading import read_midi
from lickwright.importers.musicxml.reading import read_score
from lickwright.importers.options import ReadOptions
from lickwright.importers.write_lick import write_licks

SCORES, SONGS = (".musicxml", ".mxl", ".xml"), (".mid", ".midi")
TOLD = {"L806", "L808", "L803", "L860"}  # a choice, a part of several, a change of meter, a grid: nothing is lost


def downloaded(folder: str) -> list[Path]:
    """The archives of the two packages."""
    pip = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "-d", folder]
    subprocess.run([*pip, "music21"], check=True)
    subprocess.run([*pip, "--no-binary", "pretty_midi", "pretty_midi"], check=True)
    return sorted(Path(folder).iterdir())


def files(archive: Path) -> Iterator[tuple[str, bytes]]:
    """The scores and MIDI files in an archive."""
    if archive.suffix == ".whl":
        with zipfile.ZipFile(archive) as wheel:
            for name in wheel.namelist():
                if name.lower().endswith((*SCORES, *SONGS)):
                    yield name, wheel.read(name)
        return
    with tarfile.open(archive) as source:
        for member in source:
            data = source.extractfile(member)
            if data is not None and member.name.lower().endswith((*SCORES, *SONGS)):
                yield member.name, data.read()


class Tally:
    """What became of the files of one kind."""

    def __init__(self) -> None:
        self.outcomes: Counter[str] = Counter()
        self.codes: Counter[str] = Counter()
        self.refused: Counter[str] = Counter()
        self.crashes: list[tuple[str, str]] = []
        self.slowest = (0.0, "")
        self.otherwise: list[str] = []

    def read(self, name: str, data: bytes) -> None:
        started = time.perf_counter()
        try:
            song = name.lower().endswith(SONGS)
            drafts = (read_midi if song else read_score)(data, "Untitled", ReadOptions())
            written = write_licks(drafts)
            codes = {doubt.rule.code for doubt in written.doubts}
            self.codes.update(codes)
            self.outcomes["read"] += 1
            self.outcomes["without loss"] += not codes - TOLD
            if "L802" in codes:
                self.otherwise.append(name)
        except Unreadable as e:
            self.outcomes["refused"] += 1
            self.refused[str(e)[:60]] += 1
        except Exception:
            self.crashes.append((name, traceback.format_exc()))
        self.slowest = max(self.slowest, (time.perf_counter() - started, name))

    def say(self, kind: str) -> None:
        count = self.outcomes["read"] + self.outcomes["refused"] + len(self.crashes)
        print(f"{kind}: {count} files, {dict(self.outcomes)}, {len(self.crashes)} crashes")
        share, (seconds, name) = self.outcomes["without loss"] / max(1, self.outcomes["read"]), self.slowest
        print(f"  without loss {share:.0%} of those read; slowest {seconds:.1f} s {name}")
        print(f"  findings: {dict(self.codes.most_common())}")
        print(f"  refused: {dict(self.refused.most_common(6))}")
        for name, told in self.crashes[:5]:
            print(f"  {name}\n{told}")


def main(archives: list[Path]) -> tuple[Tally, Tally]:
    scores, songs = Tally(), Tally()
    for archive in archives:
        for name, data in files(archive):
            (songs if name.lower().endswith(SONGS) else scores).read(name, data)
    scores.say("MusicXML")
    songs.say("MIDI")
    return scores, songs


if __name__ == "__main__":
    if sys.argv[1:]:
        main([Path(one) for one in sys.argv[1:]])
    else:
        with tempfile.TemporaryDirectory() as folder:
            main(downloaded(folder))
