"""The report on many recordings: a JSON file with a line for each recording, from which the next run takes what it need not hear again.

In: entries, or the path of an earlier report. Out: the bytes of a report, or its entries. Anybody may have made a report, so an entry that is not as ours
are is left out, and a file of any size takes no more memory than its entries.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from json import dumps, loads
from math import isfinite
from typing import Any

from lickwright.cli.listen_take import REPORT_SEAL

FORMAT = "lickwright listening reports 1"
_HEAD = f'{{"format": "{FORMAT}",\n "recordings": ['
_TAIL = "\n ]"
_LONGEST = 8 << 20  # bytes of one entry
_LARGEST = 256 << 20  # bytes of a report


def entry_parts(entries: Iterable[dict[str, Any]]) -> Iterator[bytes]:
    """Yield the report on these recordings in parts, up to its seal or its last bracket."""
    between = "\n "
    yield _HEAD.encode()
    for entry in entries:
        yield (between + dumps(entry, ensure_ascii=False, allow_nan=False)).encode("utf-8", "backslashreplace")
        between = ",\n "
    yield _TAIL.encode()


def known_entries(report: str) -> dict[str, dict[str, Any]]:
    """Return the entries of a report of ours, by the name of the recording as seen from its folder; none of any other file."""
    try:
        if not os.path.isfile(report) or os.path.getsize(report) > _LARGEST or not REPORT_SEAL.matches_file(report):
            return {}
        with open(report, "rb") as file:
            if file.readline(200) + file.readline(200) != _HEAD.encode() + b"\n":
                return {}
            entries = (_entry(line) for line in iter(lambda: file.readline(_LONGEST), b""))
            return {entry["file"]: entry for entry in entries if entry is not None}
    except OSError:
        return {}


def _entry(line: bytes) -> dict[str, Any] | None:
    """Return the entry in a line; None where there is none, or one that is not as ours are."""
    if not line.startswith(b" {"):
        return None
    try:
        value = loads(line.strip().removesuffix(b","), parse_float=_number, parse_constant=_number)
    except (ValueError, RecursionError):
        return None
    return value if _is_entry(value) else None


def _number(text: str) -> float:
    """Return a number. Raises ValueError for what JSON has not, such as NaN, and for what is too large for a float."""
    value = float(text)
    if not isfinite(value):
        raise ValueError(text)
    return value


def _is_entry(value: Any) -> bool:
    texts = ("file", "state", "matched_by", "error")
    return (
        isinstance(value, dict)
        and all(isinstance(value.get(name), str) for name in texts)
        and isinstance(value.get("lick"), str | None)
        and isinstance(value.get("differs"), bool)
        and value.get("bug") is False
        and _are_texts(value.get("notes"))
        and (value.get("report") is None or (value["lick"] is not None and _is_report(value["report"])))
    )


def _is_report(value: Any) -> bool:
    """Return whether a report has what is shown of it in a table."""
    if not isinstance(value, dict) or not all(isinstance(value.get(name), str) for name in ("refusal", "caution")):
        return False
    if value["refusal"]:
        return True
    passes, best = value.get("passes"), value.get("best")
    if not isinstance(passes, list) or not isinstance(best, int) or not 0 <= best < len(passes):
        return False
    texts = isinstance(value.get("headline"), str) and all(map(_are_texts, map(value.get, ("facts", "practice"))))
    return texts and _are_steps(value.get("practice_steps")) and _is_pass(passes[best])


def _are_steps(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(one, dict) and isinstance(one.get("short"), str) for one in value)


def _is_pass(value: Any) -> bool:
    return (
        isinstance(value, dict)
        and isinstance(value.get("tempo_percent"), float)
        and isinstance(value.get("score"), dict)
        and value["score"].get("of_100") in range(101)
        and isinstance(value.get("remarks"), list)
        and all(map(_is_remark, value["remarks"]))
        and isinstance(value.get("begun_again"), int)
        and isinstance(value.get("breaks_off"), bool)
        and all(_have_bars(value.get(name)) for name in ("pauses", "skips", "bars"))
    )


def _is_remark(value: Any) -> bool:
    return (
        isinstance(value, dict)
        and all(isinstance(value.get(name), str) for name in ("about", "place", "words"))
        and _is_bar(value.get("bar"))
    )


def _have_bars(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(one, dict) and _is_bar(one.get("bar")) for one in value)


def _is_bar(value: Any) -> bool:
    return isinstance(value, int) and abs(value) < 1_000_000


def _are_texts(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(one, str) for one in value)
