"""The packages that optional features need, and the command that installs them.

In: the name of an extra of `pyproject.toml`. Out: a command that names the packages and not Lickwright, so that it works
however Lickwright itself was installed.
"""

from __future__ import annotations

# A test holds this table to `pyproject.toml`.
EXTRAS = {
    "audio": ("numpy", "soundfile"),
    "read": ("mido",),
    "play": ("numpy", "soundfile", "sounddevice"),
    "sheet": ("resvg-py",),
    "cluster": ("dask", "distributed", "fsspec", "joblib"),
}


def install_command(extra: str) -> str:
    """Return the command that installs the packages of an extra. Raises KeyError for one that is not in `EXTRAS`."""
    return f"pip install {' '.join(EXTRAS[extra])}"
