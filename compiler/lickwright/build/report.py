"""Writes what a build did as JSON, for programs: `--report build.json`.

In: the summary and the scan of a build. Out: JSON in parts, source by source, so that it takes no memory however long it gets. Its shape is
`FORM`; whoever reads it should look there first. Where it goes is for the caller to say; `SEAL` ends it.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from json import dumps

from lickwright.build.summary import BuildSummary
from lickwright.core.destination import Seal
from lickwright.core.version import NOTATION, __version__
from lickwright.store.manifest import Manifest

FORM = 1  # of the report
SEAL = Seal(b',\n "seal": "', b'"\n}\n')  # the last member of the object
_SOURCES = "SELECT shown, target, state, findings FROM scan ORDER BY id"
_OUTPUTS = "SELECT name FROM outputs WHERE folder = ? AND gone = 0 ORDER BY name"


def report_parts(out: str, summary: BuildSummary, manifest: Manifest) -> Iterator[bytes]:
    """Yield the report up to its seal, in ASCII."""
    for text in _texts(out, summary, manifest):
        yield text.encode("ascii")


def _texts(out: str, summary: BuildSummary, manifest: Manifest) -> Iterator[str]:
    head = {
        "form": FORM,
        "lickwright": __version__,
        "notation": NOTATION,
        "out": out,
        "stopped": summary.stopped,
        "seconds": round(summary.seconds, 3),
        "counts": {
            "found": summary.found,
            "built": summary.built,
            "unchanged": summary.unchanged,
            "failed": summary.failed,
            "skipped": summary.skipped,
            "licks": summary.licks,
            "licks_refused": summary.refused,
            "outputs": summary.files,
            "outputs_written": summary.written,
            "outputs_removed": len(summary.removed),
        },
        "codes": dict(sorted(summary.codes.items())),
        "removed": summary.removed,
    }
    yield dumps(head, indent=1)[:-2] + ',\n "sources": ['
    between = "\n  "
    for shown, target, state, findings in manifest.db.execute(_SOURCES):
        done = state in ("built", "unchanged", "failed") and target is not None
        outputs = [f"{target}/{name}" for (name,) in manifest.db.execute(_OUTPUTS, (target,))] if done else []
        value = {"path": os.fsdecode(shown), "state": state or "skipped", "outputs": outputs}
        yield f'{between}{dumps(value)[:-1]}, "findings": {findings or "[]"}}}'
        between = ",\n  "
    yield "\n ]"
