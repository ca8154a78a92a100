"""`lickwright box --for`: the key, scale and box that the licks of a file fit best, on the screen.

In: a path and the title of a lick, if one was named. Out: text, and the exit code. A lick with errors is looked at too if it can be counted;
its errors are for `lickwright check` to tell.
"""

from __future__ import annotations

from lickwright.analysis.key_and_box_finder import Candidate, find_key_and_box, is_close_call, relative_candidate
from lickwright.cli import terminal
from lickwright.cli.select_lick import licks_called, report_findings
from lickwright.cli.sources import Verdict, compile_sources, find_sources
from lickwright.compiler import Compilation, CompiledLick
from lickwright.report import console

_RUNNERS_UP = 3


def show_keys_and_boxes(path: str, title: str | None) -> int:
    """Print key, scale and box of every lick in a file, or of the one called `title`; return the exit code. Raises UsageError."""
    verdict = Verdict()
    files = [c for _, c in compile_sources(find_sources([path]), verdict, judge=False)]
    chosen = licks_called(files, path, title)
    for c in files:
        _report_unread(c, verdict)
    for n, (_, lick) in enumerate(chosen):
        terminal.out("\n" if n else "")
        if lick.timeline is None or lick.timeline.unknown:
            terminal.err(f'"{console.safe_text(lick.title)}" has errors: lickwright check says which\n')
            verdict.add(terminal.Exit.MUSIC_ERRORS)
        else:
            terminal.out(_answer(lick, find_key_and_box(lick.timeline)))
    return verdict.code


def _report_unread(c: Compilation, verdict: Verdict) -> None:
    """Show the errors of a file that cannot be read, or in which no lick can."""
    report_findings(
        c, [d for d in c.diagnostics if d.severity == "error" and (d.code.startswith("L6") or not c.licks)], verdict
    )


def _answer(lick: CompiledLick, candidates: tuple[Candidate, ...]) -> str:
    """Return the best candidate, the notes that do not fit it, and the next best below it."""
    name = f'"{console.safe_text(lick.title)}"'
    if not candidates:
        return f"{name} has no note with a pitch\n"
    best, twin = candidates[0], relative_candidate(candidates)
    others = [one for one in candidates[1:] if one is not twin][: _RUNNERS_UP - (twin is not None)]
    rows = [("best", best, _fit(best))]
    rows += [("same", twin, "the same notes: chords, long notes and the last note decide")] if twin else []
    rows += [("or" if n == 0 else "", one, _fit(one)) for n, one in enumerate(others)]
    wide = max(len(one.name) for _, one, _ in rows)
    lines = [name, *(f"  {word:5} {one.name:{wide}}   {fit}" for word, one, fit in rows)]
    if is_close_call(candidates):
        lines.append("  a close call: the notes alone don't decide")
    return "\n".join(lines) + "\n"


def _fit(candidate: Candidate) -> str:
    """Return how many notes fit, in words: `2 of 12 notes don't fit: 2 outside the box`."""
    if not candidate.left_out:
        return f"holds all {console.counted_noun(candidate.notes, 'note')}"
    parts = ((candidate.outside_scale, "outside the scale"), (candidate.outside_box, "outside the box"))
    fit = "doesn't fit" if candidate.left_out == 1 else "don't fit"
    where = ", ".join(f"{n} {what}" for n, what in parts if n)
    return f"{candidate.left_out} of {console.counted_noun(candidate.notes, 'note')} {fit}: {where}"
