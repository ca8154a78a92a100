"""Libraries of any size for benchmarks and fault tests: the samples in other keys and boxes, cut to other bars, at other tempos.

In: a folder, a number, a seed. Out: that many `.lick` files, a lick each, in folders by style and key, the same for the same seed. Moving a
lick costs several times its compilation, so what was moved once is kept in the system's folder for temporary files.
"""

from __future__ import annotations

import json
import re
import tempfile
from collections.abc import Iterator
from hashlib import blake2b
from pathlib import Path
from random import Random

from lickwright import compile_text
from lickwright.core.slugs import slug
from lickwright.core.source import Source
from lickwright.notation.canonical import canonical_text
from lickwright.notation.syntax import parse_source
from lickwright.notation.tree import Book, Lick
from lickwright.timeline.build import build_timeline
from lickwright.transform.moves import MoveRequest, Unmovable, book_with_licks, move_lick

SAMPLES = Path(__file__).parents[2] / "samples"
_PLACES = 20  # keys and boxes of each sample that are worked out; tempo and bars vary the rest


def make(folder: Path, number: int, seed: int = 1) -> int:
    """Writes the library; gives how many bytes it holds."""
    pool = _pool(seed)
    chance = Random(seed)
    size = 0
    for n in range(number):
        text = _varied(pool[n % len(pool)], n, chance)
        title = re.search(r'lick "(.*)"', text)
        style = re.search(r"(?m)^style\s+(.*)$", text)
        key = re.search(r"(?m)^key\s+(\S+)", text)
        place = folder / slug(style[1] if style else "other") / slug(key[1] if key else "none")
        place.mkdir(parents=True, exist_ok=True)
        data = text.encode("utf-8")
        (place / f"{n:06}-{slug(title[1] if title else 'x')[:30]}.lick").write_bytes(data)
        size += len(data)
    return size


def _varied(text: str, n: int, chance: Random) -> str:
    """Another tempo and title, so that no two files are alike."""
    tempo = re.search(r"(?m)^tempo\s+(\d+)\s*$", text)
    if tempo:
        faster = max(40, min(220, round(int(tempo[1]) * chance.uniform(0.85, 1.1))))
        text = text[: tempo.start(1)] + str(faster) + text[tempo.end(1) :]
    return re.sub(r'lick "(.*)"', lambda m: f'lick "{m[1]} {n}"', text, count=1)


def _pool(seed: int) -> list[str]:
    """Every sample in some places of the neck, whole and cut, in an order of chance. None has an error or a warning."""
    paths = sorted(SAMPLES.glob("**/*.lick"))
    mark = blake2b(b"\0".join([*(path.read_bytes() for path in paths), Path(__file__).read_bytes()]), digest_size=8)
    kept = Path(tempfile.gettempdir()) / f"lickwright-bench-{mark.hexdigest()}.json"
    try:
        texts = json.loads(kept.read_text("utf-8"))
    except (OSError, ValueError):
        texts = [text for path in paths for text in _of_file(path)]
        kept.write_text(json.dumps(texts), "utf-8")
    Random(seed).shuffle(texts)
    return texts


def _of_file(path: Path) -> Iterator[str]:
    source = Source(str(path), path.read_text("utf-8"))
    book, _ = parse_source(source)
    for lick in book.licks:
        for text in _moved(lick, book, source):
            yield text
            cut = _cut(text)
            if cut != text and _clean(cut):
                yield cut


def _moved(lick: Lick, book: Book, source: Source) -> Iterator[str]:
    timeline, _ = build_timeline(lick, book, source)
    assert timeline is not None
    key = timeline.settings.key
    places = [(str(key.transposed(n)), box) for n in range(12) for box in "12345"] if key else []
    Random(lick.title).shuffle(places)
    own = canonical_text(book_with_licks(book, [lick]))
    if _clean(own):
        yield own
    made = 1
    for to_key, box in places:
        try:
            text = canonical_text(
                book_with_licks(book, [move_lick(lick, book, source, MoveRequest(key=to_key, box=box)).lick])
            )
        except Unmovable:
            continue
        if _clean(text):
            yield text
            made += 1
        if made == _PLACES:
            return


def _cut(text: str) -> str:
    """Without its last bar, where it has several: another length and rhythm."""
    head, bar, music = text.partition("\n|")
    bars = music.rstrip().rstrip("|").split(" |")
    if len(bars) < 3 or ":" in music:
        return text
    return re.sub(r"(?m)^(chords|level) .*\n", "", head + bar + " |".join(bars[:-1]) + " ||\n")


def _clean(text: str) -> bool:
    return not any(d.severity != "info" for d in compile_text(text).diagnostics)
