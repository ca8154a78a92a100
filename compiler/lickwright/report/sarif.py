"""Findings as SARIF 2.1.0, the OASIS standard that code review tools and editors read.

In: sources with their findings, and the rules. Out: a value for JSON. Columns count code points from 1 and the end is
exclusive, as in a `Span`; paths are relative to the folder of the run, so that the file has no name or folder of the
machine.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

from lickwright.core.diagnostics import Diagnostic, Fix, Rule, Severity, fingerprints
from lickwright.core.source import Source, Span
from lickwright.core.text_edits import place_change
from lickwright.core.version import __version__

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
BASE = "%SRCROOT%"  # the usual name of the folder to which paths are relative
FINGERPRINT = "lickwrightFinding/v1"  # fingerprints made in another way would need another number
_LEVELS = {Severity.ERROR: "error", Severity.WARNING: "warning", Severity.INFO: "note"}

Value = dict[str, Any]


def sarif_document(files: Sequence[tuple[Source, Sequence[Diagnostic]]], rules: Sequence[Rule]) -> Value:
    """Return the whole report: one run, one result a finding, and the rules that have findings."""
    met = {d.code for _, found in files for d in found}
    listed = [rule for rule in rules if rule.code in met]
    index = {rule.code: n for n, rule in enumerate(listed)}
    results = [result for source, found in files for result in _results(source, found, index)]
    driver = {"name": "Lickwright", "semanticVersion": __version__, "rules": [_rule(rule) for rule in listed]}
    run = {
        "tool": {"driver": driver},
        "columnKind": "unicodeCodePoints",
        "originalUriBaseIds": {BASE: {"description": {"text": "the folder in which the check was run"}}},
        "invocations": [{"executionSuccessful": not any(_of_file(d) for _, found in files for d in found)}],
        "results": results,
    }
    return {"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}


def _rule(rule: Rule) -> Value:
    text, markdown = [rule.explanation], [rule.explanation]
    for what, example in (("Not like this", rule.bad), ("Like this", rule.good)):
        if example:
            text.append(f"{what}:\n\n{example.rstrip()}")
            markdown.append(f"{what}:\n\n```\n{example.rstrip()}\n```")
    return {
        "id": rule.code,
        "name": "".join(word.capitalize() for word in re.findall("[A-Za-z0-9]+", rule.name.replace("'", ""))),
        "shortDescription": {"text": rule.summary},
        "fullDescription": {"text": rule.explanation},
        "help": {"text": "\n\n".join(text), "markdown": "\n\n".join(markdown)},
        "defaultConfiguration": {"level": _LEVELS[rule.severity]},
    }


def _results(source: Source, found: Sequence[Diagnostic], index: dict[str, int]) -> list[Value]:
    names = fingerprints(source, found)
    return [_result(source, d, name, index) for d, name in zip(found, names, strict=True)]


def _result(source: Source, d: Diagnostic, fingerprint: str, index: dict[str, int]) -> Value:
    result: Value = {
        "ruleId": d.code,
        "ruleIndex": index[d.code],
        "level": _LEVELS[d.severity],
        "message": {"text": d.message + (f"\n{d.hint}" if d.hint else "")},
        "locations": [_location(source, d)],
        "partialFingerprints": {FINGERPRINT: fingerprint},
    }
    if d.notes:
        result["relatedLocations"] = [
            {
                "id": n,
                "message": {"text": note.message},
                "physicalLocation": _physical(note.source or source, note.span),
            }
            for n, note in enumerate(d.notes, 1)
        ]
    if d.fix is not None:
        result["fixes"] = [_fix(source, d.fix)]
    return result


def _location(source: Source, d: Diagnostic) -> Value:
    """Return where in the file a finding is, and its lick, bar and beat."""
    location: Value = {"physicalLocation": _physical(source, None if _of_file(d) else d.span)}
    if d.lick is not None:
        where = "" if d.bar is None else f", bar {d.bar}" + (f", beat {d.beat}" if d.beat else "")
        location["logicalLocations"] = [{"name": d.lick, "fullyQualifiedName": d.lick + where, "kind": "lick"}]
    return location


def _of_file(d: Diagnostic) -> bool:
    """Return True for a finding about a file as a whole."""
    return d.code.startswith("L6")


def _physical(source: Source, span: Span | None) -> Value:
    """Return a place in a file; `span` None is the file as a whole."""
    where: Value = {"artifactLocation": _artifact(source)}
    if span is not None:
        where["region"] = _region(source, span)
    return where


def _artifact(source: Source) -> Value:
    path = quote(source.name.replace("\\", "/"), safe="/!$&'()*+,;=@~", errors="surrogateescape")
    return {"uri": path, "uriBaseId": BASE}


def _region(source: Source, span: Span) -> Value:
    start, end = source.position(span.start), source.position(span.end)
    return {"startLine": start.line, "startColumn": start.column, "endLine": end.line, "endColumn": end.column}


def _fix(source: Source, fix: Fix) -> Value:
    replacements = []
    for change in fix.changes:
        span, text = place_change(source, change)
        replacements.append({"deletedRegion": _region(source, span), "insertedContent": {"text": text}})
    return {
        "description": {"text": fix.title},
        "artifactChanges": [{"artifactLocation": _artifact(source), "replacements": replacements}],
    }
