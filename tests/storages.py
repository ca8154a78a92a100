"""The places that outputs are put into, for tests that hold for all of them: a folder here, and file systems of fsspec."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from unittest import mock

import pytest


class Place:
    """Somewhere that holds libraries and output folders, each under a plain name."""

    def __init__(self, kind: str, root: str, fs: Any = None) -> None:
        self.kind = kind
        self._root = root  # what the name of a folder is put after
        self._fs = fs  # of fsspec; None: this machine

    def name(self, path: str) -> str:
        """How a user names it."""
        return self._root + path

    def _inner(self, path: str) -> str:
        return str(self._fs._strip_protocol(self.name(path)))

    def write(self, path: str, text: str | bytes) -> None:
        data = text.encode() if isinstance(text, str) else text
        if self._fs is None:
            Path(path).parent.mkdir(parents=True, exist_ok=True)
            Path(path).write_bytes(data)
        else:
            self._fs.makedirs(self._inner(path).rpartition("/")[0], exist_ok=True)
            self._fs.pipe_file(self._inner(path), data)

    def remove(self, path: str) -> None:
        if self._fs is None:
            os.unlink(path)
        else:
            self._fs.rm_file(self._inner(path))

    def everything(self, folder: str) -> dict[str, bytes]:
        """Every file below a folder by its path, what a build keeps for itself too."""
        if self._fs is None:
            return {
                path.relative_to(folder).as_posix(): path.read_bytes()
                for path in sorted(Path(folder).rglob("*"))
                if path.is_file() and path.name != ".lickwright.lock"
            }
        self._fs.invalidate_cache()
        top = self._inner(folder)
        return {path[len(top) + 1 :]: self._fs.cat_file(path) for path in self._fs.find(top)}

    def tree(self, folder: str) -> dict[str, bytes]:
        """Every output by its path."""
        return {path: data for path, data in self.everything(folder).items() if not path.startswith(".lickwright")}


@contextmanager
def _memory() -> Iterator[Place]:
    from fsspec.implementations.memory import MemoryFileSystem

    MemoryFileSystem.store.clear()
    MemoryFileSystem.pseudo_dirs[:] = [""]
    yield Place("memory", "memory://shelf/", MemoryFileSystem())
    MemoryFileSystem.store.clear()


@contextmanager
def _disk(folder: Path) -> Iterator[Place]:
    import fsspec

    from remote_disk import RemoteDisk

    fsspec.register_implementation("shelf", RemoteDisk, clobber=True)
    yield Place("disk", f"shelf://{folder}/there/", RemoteDisk())


def _for_processes(options: dict[str, str]) -> dict[str, str]:
    """The same options for processes that are started later, as fsspec reads them."""
    return {f"FSSPEC_S3_{name.upper()}": value for name, value in options.items()}


@contextmanager
def _object_server() -> Iterator[Place]:
    """A server of S3 in this process."""
    pytest.importorskip("s3fs", reason="pip install '.[remote-tests]'")
    server = pytest.importorskip("moto.server", reason="pip install '.[remote-tests]'")
    import fsspec.config
    import s3fs

    running = server.ThreadedMotoServer("127.0.0.1", port=0, verbose=False)
    running.start()
    host, port = running.get_host_and_port()
    options = {"key": "mara", "secret": "quill", "endpoint_url": f"http://{host}:{port}"}
    try:
        with (
            mock.patch.dict(fsspec.config.conf, {"s3": options}),
            mock.patch.dict(os.environ, {"AWS_DEFAULT_REGION": "us-east-1", **_for_processes(options)}),
        ):
            fs = s3fs.S3FileSystem()
            bucket = f"shelf-{os.urandom(4).hex()}"  # the server remembers those of other tests
            fs.mkdir(bucket)
            yield Place("s3", f"s3://{bucket}/", fs)
    finally:
        s3fs.S3FileSystem.clear_instance_cache()
        running.stop()


@contextmanager
def opened(kind: str, folder: Path) -> Iterator[Place]:
    """A place of one kind, empty; `folder` is where the test is."""
    if kind == "local":
        yield Place("local", "")
        return
    pytest.importorskip("fsspec")
    with {"memory": _memory, "disk": lambda: _disk(folder), "s3": _object_server}[kind]() as place:
        yield place


KINDS = ["local", "memory", "disk", pytest.param("s3", marks=pytest.mark.slow)]
