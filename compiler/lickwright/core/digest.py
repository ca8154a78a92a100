"""BLAKE2b, by which contents and keys are known again, without OpenSSL.

In: bytes. Out: digests. `hashlib` takes the same function from the same module, but loads OpenSSL beside it, which costs a short command
a tenth of its start.
"""

from __future__ import annotations

try:
    from _blake2 import blake2b
except ImportError:  # an interpreter that keeps it elsewhere
    from hashlib import blake2b

__all__ = ["blake2b", "bytes_digest"]


def bytes_digest(data: bytes) -> bytes:
    """Return the hash by which sources and outputs are known: 128 bits of BLAKE2b."""
    return blake2b(data, digest_size=16).digest()
