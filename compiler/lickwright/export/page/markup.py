"""HTML built from values: whatever is no `Markup` is text, and is escaped.

In: names of elements, attributes, text. Out: `Markup`. No other module of the pages writes an angle bracket round a user's words, so nothing that a user
wrote can become an element, an attribute or a script. `document` puts a whole page together, with a policy that lets only its own style and script run.
"""

from __future__ import annotations

import json
import re
from base64 import b64encode
from collections.abc import Iterable, Sequence
from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import TypeAlias

_FORBIDDEN = re.compile("[^\t\n\x20-\x7e\xa0-\ud7ff\ue000-\ufdcf\ufdf0-\ufffd\U00010000-\U0010fffd]")  # no HTML text
_NAME = re.compile(r"[a-z][a-z0-9-]*\Z")
_VOID = frozenset(("meta", "input", "br", "hr", "link"))  # elements without an end tag (HTML standard, 13.1.2)
_POLICY = "default-src 'none'; base-uri 'none'; form-action 'none'; img-src data:"


class Markup(str):
    """HTML that is safe as it stands."""

    __slots__ = ()


Child: TypeAlias = "str | Iterable[str | None] | None"
Attribute: TypeAlias = "str | int | float | bool | None"


def escaped(text: str) -> Markup:
    """Text as HTML, safe inside an element and inside a quoted attribute; characters that HTML forbids become `�`."""
    if isinstance(text, Markup):
        return text
    allowed = _FORBIDDEN.sub("\ufffd", text)
    for sign, entity in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;"), ("'", "&#39;")):
        allowed = allowed.replace(sign, entity)
    return Markup(allowed)


def joined(*children: Child) -> Markup:
    """Children one after the other; None stands for nothing."""
    parts: list[str] = []
    for child in children:
        if isinstance(child, str):
            parts.append(escaped(child))
        elif child is not None:
            parts += (escaped(one) for one in child if one is not None)
    return Markup("".join(parts))


def el(name: str, /, *children: Child, **attributes: Attribute) -> Markup:
    """One element. An attribute that is None or False is left out, one that is True has no value.

    `_` in an attribute's name stands for `-`; one at its end, as in `class_` and `for_`, for nothing. Raises ValueError for a name that is none.
    """
    words = [name]
    for key, value in attributes.items():
        key = key.rstrip("_").replace("_", "-")
        if value is None or value is False:
            continue
        if not _NAME.match(key):
            raise ValueError(f"{key!r} is no name of an attribute")
        if isinstance(value, str):
            words.append(f'{key}="{escaped(value)}"')
        else:
            words.append(key if value is True else f'{key}="{value:g}"')
    if not _NAME.match(name):
        raise ValueError(f"{name!r} is no name of an element")
    start = f"<{' '.join(words)}>"
    return Markup(start) if name in _VOID else Markup(f"{start}{joined(*children)}</{name}>")


def data_block(id: str, value: object) -> Markup:
    """A value for the page's script to read, as JSON. Its `<` are written as escapes, so that nothing in it ends the block."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    text = _FORBIDDEN.sub("\ufffd", text).replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
    return Markup(f'<script type="application/json" id="{escaped(id)}">{text}</script>')


def data_uri(content: bytes, mime: str) -> str:
    """Bytes as an address that holds them."""
    return f"data:{mime};base64,{b64encode(content).decode('ascii')}"


_COMMENT = re.compile(r"^\s*(?://|/\*).*(?:\n \*.*)*\n|(?<=[;,{]) // .*$", re.MULTILINE)


@cache
def asset(name: str) -> str:
    """The text of a style or script of the package, without its comments and what blanks it can do without. Raises FileNotFoundError where there is none."""
    text = _COMMENT.sub("", (files("lickwright.export.page") / name).read_text("utf-8"))
    if name.endswith(".css"):
        text = re.sub(r": (?=[^{}]*[;}])", ":", re.sub(r"\s*([{};,])\s*", r"\1", text))
    return re.sub(r"(?<=[;{,])\n", "", re.sub(r"\n\s*", "\n", text))


def program(*names: str) -> list[str]:
    """Scripts of the package as one program, with names of its own."""
    return ['(() => {\n"use strict";', *map(asset, names), "})();"]


def document(title: str, body: Sequence[Markup], styles: Sequence[str], scripts: Sequence[str] = ()) -> str:
    """A whole page: `styles` and `scripts` are texts of our own, each of which becomes one block that the policy lets run by its hash."""
    style, script = "\n".join(styles), "\n".join(scripts)
    policy = f"{_POLICY}; style-src {_hashed(style)}" + (f"; script-src {_hashed(script)}" if script else "")
    head = (
        el("meta", charset="utf-8"),
        Markup(f'<meta http-equiv="Content-Security-Policy" content="{policy}">'),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"),
        el("meta", name="color-scheme", content="light dark"),
        el("meta", name="referrer", content="no-referrer"),
        el("title", title),
        Markup(f"<style>{style}</style>"),
    )
    end = Markup(f"<script>{script}</script>") if script else None
    page = el("html", "\n", el("head", *head), "\n", el("body", *body, end), "\n", lang="en")
    return f"<!doctype html>\n{page}\n"


def _hashed(text: str) -> str:
    """The source expression of Content Security Policy Level 3, 2.3.1, for a block with this text."""
    if "</" in text:
        raise ValueError("a style or script of our own must not hold the beginning of an end tag")
    return f"'sha256-{b64encode(sha256(text.encode('utf-8')).digest()).decode('ascii')}'"
