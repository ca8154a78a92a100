"""Lickwright, a compiler for guitar licks.

From Python: `compile_text` and `compile_file` give a `Compilation`, whose licks say what is in them and give their text tab,
MIDI file and timing sheet; `find_house` gives the house rules that they can go by. The names are loaded when first asked for,
so that `import lickwright` costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from lickwright.core.version import __version__

if TYPE_CHECKING:
    from lickwright.compiler import Compilation, CompiledLick, compile_bytes, compile_file, compile_text
    from lickwright.config.discovery import find_house

__all__ = ["Compilation", "CompiledLick", "__version__", "compile_bytes", "compile_file", "compile_text", "find_house"]


def __dir__() -> list[str]:
    return list(__all__)


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(
        import_module("lickwright.config.discovery" if name == "find_house" else "lickwright.compiler"), name
    )
