"""The work on one source whose outputs, or which itself, are not on this machine.

In: an item whose path is an address. Out: a result as `task.py` gives it. The rules are those of `store/output_writer.py`: a file that stands in the
way is replaced only if its bytes are what we wrote there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

from lickwright import compiler
from lickwright.build.task import compile_source
from lickwright.core.source import Unreadable
from lickwright.store import addresses, diagnostics_json
from lickwright.store.addresses import parse_address
from lickwright.store.manifest import Made
from lickwright.store.output_writer import Output, OutputWriter, Placed, content_digest, in_the_way, refused, unwritable
from lickwright.store.ownership import LED_OUT, Inside, UnsafePath, plain_folder, plain_name
from lickwright.store.types import CompileOptions, Trouble, WorkItem, WorkResult


def far_make(overwrite: bool, item: WorkItem, order: CompileOptions, place: OutputWriter) -> WorkResult:
    """What `work.make` does, at addresses; `place` says the one of the output folder."""
    try:
        data = addresses.read_remote(item.path) if item.data is None else item.data
    except Unreadable as e:
        return WorkResult(
            item.id, findings=diagnostics_json.diagnostics_to_json(compiler.unreadable_source(item.path, e).diagnostics)
        )
    there = _place(place.out, overwrite)
    there.begins = place.begins
    return compile_source(item._replace(data=data), order, there)


@cache
def _place(out: str, overwrite: bool) -> FarPlace:
    return FarPlace(out, overwrite)


class FarPlace(OutputWriter):
    """An output folder at an address."""

    def __init__(self, out: str, overwrite: bool) -> None:
        super().__init__(out, overwrite)
        self._at = parse_address(out)
        self._replaces = overwrite

    def put(self, item: WorkItem, outputs: Sequence[Output]) -> Placed:
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
            there = addresses.list_remote_folder(self._at, folder)
        except UnsafePath as e:
            return Placed((), 0, (refused(shown, str(e)),))
        except Exception as e:  # whatever the other side raises
            return Placed((), 0, (unwritable(shown, e, "place"),))
        for output in outputs:
            path, new = f"{folder}/{output.name}", content_digest(output.data)
            try:
                info = there.get(output.name)
                if info is not None:
                    old = self._hash(path, info, known.get(output.name))
                    if old != new and not self._replaces and not _ours(old, info, known.get(output.name)):
                        troubles.append(in_the_way(f"{shown}/{output.name}"))
                        continue
                if info is None or old != new:
                    addresses.put_remote(self._at, path, output.data)
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
        return addresses.remote_digest(self._at, path)


def _ours(hash: bytes, info: Mapping[str, Any], row: Made | None) -> bool:
    return row is not None and (hash == row.hash or info["size"] == 0)
