"""A file system of fsspec that lies on this machine and that Lickwright does not know as such: for tests of addresses in several processes."""

from __future__ import annotations

from typing import Any

from fsspec.implementations.local import LocalFileSystem


class RemoteDisk(LocalFileSystem):
    """Files at `shelf:///path`."""

    protocol = ("shelf",)

    @classmethod
    def _strip_protocol(cls, path: Any) -> Any:
        return super()._strip_protocol(str(path).removeprefix("shelf://"))
