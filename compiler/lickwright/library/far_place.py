"""The work on one source whose outputs, or which itself, are not on this machine.

In: an item whose path is an address. Out: a result as `work.py` gives it. The rules are those of `outputs.py`: a file that stands in the way is replaced
only if its bytes are what we wrote there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

from lickwright import pipeline
from lickwright.library import addresses, remembered
from lickwright.library.addresses import spot
from lickwright.library.manifest import Made
from lickwright.library.orders import Item, Order, Result
from lickwright.library.ours import LED_OUT, Inside, Refused, plain_folder, plain_name
from lickwright.library.outputs import Output, Place, Placed, Trouble, digest, in_the_way, refused, unwritable
from lickwright.library.work import make
from lickwright.source import Unreadable


def far_make(overwrite: bool, item: Item, order: Order, place: Place) -> Result:
    """What `work.make` does, at addresses; `place` says the one of the output folder."""
    try:
        data = addresses.read(item.path) if item.data is None else item.data
    except Unreadable as e:
        return Result(item.id, findings=remembered.text(pipeline.unreadable(item.path, e).diagnostics))
    there = _place(place.out, overwrite)
    there.begins = place.begins
    return make(item._replace(data=data), order, there)


@cache
def _place(out: str, overwrite: bool) -> FarPlace:
    return FarPlace(out, overwrite)


class FarPlace(Place):
    """An output folder at an address."""

    def __init__(self, out: str, overwrite: bool) -> None:
        super().__init__(out, overwrite)
        self._at = spot(out)
        self._replaces = overwrite

    def put(self, item: Item, outputs: Sequence[Output]) -> Placed:
        """Writes into the item's folder what is not there already; the item says what there is ours."""
        known = {row.name: row for row in item.known}
        folder = f"{self._at.path}/{item.target}"
        shown = f"{self.out.rstrip('/')}/{item.target}"
        if not plain_folder(item.target) or not all(plain_name(output.name) for output in outputs):
            return Placed((), 0, (refused(shown, LED_OUT),))
        made: list[Made] = []
        troubles: list[Trouble] = []
        written = 0
        try:
            if addresses.local(self._at):
                Inside(self._at.path).folder(item.target)
            there = addresses.listing(self._at, folder)
        except Refused as e:
            return Placed((), 0, (refused(shown, str(e)),))
        except Exception as e:  # whatever the other side raises
            return Placed((), 0, (unwritable(shown, e, "place"),))
        for output in outputs:
            path, new = f"{folder}/{output.name}", digest(output.data)
            try:
                info = there.get(output.name)
                if info is not None:
                    old = self._hash(path, info, known.get(output.name))
                    if old != new and not self._replaces and not _ours(old, info, known.get(output.name)):
                        troubles.append(in_the_way(f"{shown}/{output.name}"))
                        continue
                if info is None or old != new:
                    addresses.put(self._at, path, output.data)
                    info = self._at.fs.info(path)
                    written += 1
                size, mark = len(output.data), addresses.mark(info)
                made.append(Made(output.name, output.lick, output.format, new, size=size, mtime=0, ctime=0, inode=mark))
            except Exception as e:  # whatever the other side raises
                troubles.append(unwritable(f"{shown}/{output.name}", e, "place"))
        return Placed(tuple(made), written, tuple(troubles))

    def _hash(self, path: str, info: Mapping[str, Any], row: Made | None) -> bytes:
        """The hash of what stands at `path`; nothing is read that is known by its mark."""
        if info.get("islink") or info.get("type", "file") != "file":
            what = "folder" if info.get("type") == "directory" and not info.get("islink") else "link, pipe or device"
            raise OSError(0, f"a {what} stands where the file would go")
        if row is not None and info["size"] == row.size and addresses.mark(info) == row.inode:
            return row.hash
        return addresses.digest(self._at, path)


def _ours(hash: bytes, info: Mapping[str, Any], row: Made | None) -> bool:
    return row is not None and (hash == row.hash or info["size"] == 0)
