"""What a listener found of the known mistakes, and what it found that is not there.

In: cases and what the ear made of them. Out: `Tally`, and the rows of the table with the goal beside each figure.
"""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Iterable, Iterator

import numpy as np
from corpus import Case

from lickwright.compare.model import DifferenceKind
from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.listen.judge import judge_hearing
from lickwright.listen.model import HeardNote, JudgedPass, Judgement, NoteVerdict
from lickwright.listen.recording import resample_recording
from lickwright.listen.stretches import hear_recording
from lickwright.performance.note_events import perform

_TIMES = {DifferenceKind.EARLY, DifferenceKind.LATE}
_GONE = {  # several notes that are not played, and the row that counts them
    "left out": "notes of several left out found", "skipped": "notes of a skipped bar found", "not played": "notes not played at the end found",
}  # fmt: skip
_NOT_RIGHT = {"wrong", "missing", "pair wrong", "pair missing", *_GONE}
_BENDS = {DifferenceKind.BEND, DifferenceKind.INTONATION}


@mutable_record
class Tally:
    """Counts over many takes."""

    found: dict[str, list[bool]] = field(default_factory=lambda: defaultdict(list))
    values: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    seconds: float = 0.0
    worked: float = 0.0
    said: list[str] = field(default_factory=list)  # what went wrong, for whoever tunes


def listen_to(case: Case, tally: Tally) -> Judgement:
    start = time.process_time()
    samples = case.samples.reshape(len(case.samples), -1)
    blocks = (samples[i : i + 65_536] for i in range(0, len(samples), 65_536))
    hearing = hear_recording(resample_recording(blocks, case.rate))
    heard = judge_hearing(case.take.timeline, perform(case.take.timeline), hearing)
    tally.worked += time.process_time() - start
    tally.seconds += len(case.samples) / case.rate
    return heard


def tally_cases(many: Iterable[Case], tally: Tally | None = None) -> Tally:
    tally = tally or Tally()
    for case in many:
        _tally_case(case, listen_to(case, tally), tally)
    return tally


def _tally_case(case: Case, heard: Judgement, tally: Tally) -> None:
    take, facts = case.take, case.take.facts
    tally.found["recognized"].append(not heard.refusal)
    if heard.refusal:
        tally.said.append(f"{case.name}: refused: {heard.refusal.words} (shift {facts['shift']})")
        return
    one = heard.passes[heard.best]
    tally.found["shift"].append(heard.shift == facts["shift"])
    if heard.shift == facts["shift"]:
        tally.values["tuning"].append(abs(100 * heard.tuning - facts["tuning"]))
    false = sum(_tally_note(case, note, tally) for note in one.notes)
    false += _tally_extras(case, one, tally)
    if "restart" in facts:
        tally.found["restart"].append(bool(one.again))
    if "pause" in facts:
        tally.found["pause"].append(any(abs(p.seconds - facts["pause"]) < 0.4 for p in one.pauses))
    if not take.labels and "restart" not in facts:
        tally.found["clean takes"].append(false == 0)


def _tally_note(case: Case, note: HeardNote, tally: Tally) -> int:
    """Count a note; return how many false words were said about it."""
    take, index = case.take, note.sound.index
    label = take.labels.get(index, "")
    if label == "not judged":
        return 0
    kinds, verdict = note.kinds, note.verdict
    where = (
        f"{case.name}: sound {index} bar {note.sound.bar + 1} ({label or 'right'}) {verdict} {sorted(map(str, kinds))}"
    )
    where += f" late {note.late and round(note.late, 3)} heard {note.pitch and round(note.pitch, 2)} of {note.written}"
    where += f" bend {note.bend_reached} of {note.bend_wanted}, late {note.bend_late}, release {note.release_off}, vibrato {note.vibrato_width}"
    onset = take.onsets.get(index)
    if verdict is NoteVerdict.UNTOLD:
        tally.found["told"].append(False)
        return 0
    bad = verdict in (NoteVerdict.WRONG, NoteVerdict.MISSING)
    checks = {
        "wrong": ("wrong or missing found", bad), "missing": ("wrong or missing found", bad), "late": ("late or early found", bool(kinds & _TIMES)),
        "early": ("late or early found", bool(kinds & _TIMES)), "pair wrong": ("wrong in a pair found", bad),
        "pair missing": ("missing in a pair found", bad), "bend missing": ("bend missing found", DifferenceKind.BEND in kinds),
        "bend flat": ("bend off found", bool(kinds & _BENDS)), "bend sharp": ("bend off found", bool(kinds & _BENDS)),
        "bend late": ("bend late found", bool(kinds & _TIMES)), "not released": ("release missing found", bool(kinds & _BENDS)),
        "release late": ("release late found", DifferenceKind.LATE in kinds),
        "picked too soon": ("pre-bend picked too soon found", DifferenceKind.TECHNIQUE in kinds),
        "vibrato missing": ("vibrato missing found", DifferenceKind.TECHNIQUE in kinds),
        **{name: (row, bad) for name, row in _GONE.items()},
    }  # fmt: skip
    if label in checks:
        row, good = checks[label]
        tally.found[row].append(good)
        if not good:
            tally.said.append(f"MISSED {row}: {where} amount {take.amounts[index]:.3f}")
    false = 0
    if label not in _NOT_RIGHT:
        tally.found["told"].append(True)
        for row in (
            "false",
            f"false {'in company' if case.room == 'another guitar' else 'dry' if case.room in ('dry', 'phone') else 'elsewhere'}",
        ):
            tally.found[row].append(bad)
        false += bad
    if onset is not None and note.onset is not None and not bad and note.sound.kind == "note":
        off = note.onset - onset - case.offset
        tally.values["onset " + ("overdriven" if case.room == "overdriven" else "plain")].append(1000 * abs(off))
    if not bad and label not in ("late", "early", "bend late", "release late", *_NOT_RIGHT):
        late = bool(kinds & _TIMES)
        tally.found["false late"].append(late)
        false += late
    if note.bend_reached is not None and note.bend_wanted and label in ("", "bend flat", "bend sharp") and not bad:
        truth = note.bend_wanted + (take.amounts[index] if label else 0.0)
        tally.values["bend"].append(100 * abs(note.bend_reached - truth))
    if not bad and not label.startswith("bend") and label not in ("not released", "picked too soon"):
        false += bool(kinds & _BENDS)
        if note.bend_wanted or note.release_off is not None:
            tally.found["false bend"].append(bool(kinds & _BENDS))
    if not bad and note.vibrato_width is not None and label not in ("vibrato missing", "picked too soon"):
        tally.found["false vibrato"].append(DifferenceKind.TECHNIQUE in kinds)
        false += DifferenceKind.TECHNIQUE in kinds
    if false:
        tally.said.append(f"FALSE {where}")
    return false


def _tally_extras(case: Case, one: JudgedPass, tally: Tally) -> int:
    truth = [t + case.offset for t in case.take.extras]
    for at in truth:
        good = any(abs(e.at - at) < 0.08 for e in one.extras)
        tally.found["extra found"].append(good)
        if not good:
            tally.said.append(f"MISSED extra at {at:.2f}: {case.name}")
    false = [e for e in one.extras if not any(abs(e.at - at) < 0.08 for at in truth)]
    tally.found["extras"] += [True] * len(false)
    tally.found["notes"] += [True] * len(one.notes)
    tally.said += [f"FALSE extra {e.pitch:.1f} at {e.at:.2f}: {case.name}" for e in false]
    return len(false)


def rows(tally: Tally) -> Iterator[tuple[str, str, str]]:
    """Figure, what was seen, goal."""
    f, v = tally.found, tally.values

    def share(name: str) -> str:
        return f"{sum(f[name])} of {len(f[name])}" + (
            f" ({100 * sum(f[name]) / len(f[name]):.1f} %)" if f[name] else ""
        )

    def hundred(name: str) -> str:
        return f"{100 * sum(f[name]) / max(1, len(f[name])):.2f} of {len(f[name])}"

    def spread(name: str, unit: str) -> str:
        return (
            f"{np.median(v[name]):.1f} / {np.percentile(v[name], 95):.1f} {unit} of {len(v[name])}"
            if v[name]
            else "none"
        )

    yield "takes recognized", share("recognized"), "all"
    yield "right notes called wrong or missing, per 100: all", hundred("false"), "<= 0.5"
    yield "  dry and phone", hundred("false dry"), "<= 0.8"
    yield "  another guitar in the room", hundred("false in company"), "<= 2.5"
    yield "wrong or missing single notes found", share("wrong or missing found"), ">= 97 %"
    for row in _GONE.values():
        yield row, share(row), ">= 97 %"
    yield "wrong in a double stop found", share("wrong in a pair found"), ">= 95 %"
    yield "missing in a double stop found", share("missing in a pair found"), ">= 75 %"
    yield "extra notes found", share("extra found"), ">= 90 %"
    yield "false extras per 100 notes", f"{100 * len(f['extras']) / max(1, len(f['notes'])):.2f}", "<= 0.4"
    yield "onset, median / p95", spread("onset plain", "ms"), "<= 2 / 12"
    yield "  overdriven", spread("onset overdriven", "ms"), "<= 28 (p95)"
    yield "late or early by 80 ms and more found", share("late or early found"), ">= 97 %"
    yield "false late or early per 100", hundred("false late"), "<= 0.8"
    yield "bend height, median / p95", spread("bend", "cents"), "<= 3 / 12"
    yield "missing bends found", share("bend missing found"), ">= 96 %"
    yield "bends off by 50 cents and more found", share("bend off found"), ">= 97 %"
    yield "false words about bends", share("false bend"), "few"
    yield "bends late by 100 ms and more found", share("bend late found"), ">= 95 %"
    yield "missing releases found", share("release missing found"), ">= 95 %"
    yield "releases late by 140 ms and more found", share("release late found"), ">= 95 %"
    yield "pre-bends picked too soon found", share("pre-bend picked too soon found"), ">= 95 %"
    yield "missing vibrato found", share("vibrato missing found"), ">= 97 %"
    yield "false words about vibrato", share("false vibrato"), "<= 3 %"
    yield "tuning, median / p95", spread("tuning", "cents"), "<= 3"
    yield "transpositions told", share("shift"), "all"
    yield "restarts told", share("restart"), "most"
    yield "pauses told", share("pause"), "most"
    yield "clean takes with no false word", share("clean takes"), ">= 95 %"
    yield "notes that the ear cannot tell", f"{sum(not x for x in f['told'])} of {len(f['told'])}", "few"
    yield "times real time (processor)", f"{tally.seconds / max(1e-9, tally.worked):.0f}", ">= 30"
