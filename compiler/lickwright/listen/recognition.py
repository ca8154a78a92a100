"""Whether what was played is the lick at all: the odds against a background of other licks.

In: a `JudgedPass`, by how many semitones it is shifted and what its reading costs. Out: a `Refusal`, or None. The dynamic
programme finds a reading of any recording as any lick, and half the notes of a wrong one come out right; so that the share of right notes alone tells little.
A student's own mistakes, however many, leave the cost of the reading low, its time steady and its pitch where it is written: a logistic regression weighs
these together.
"""

from __future__ import annotations

from collections import Counter
from itertools import groupby

import numpy as np

from lickwright.listen.model import JudgedPass, NoteVerdict, Refusal, RefusalKind

UNLIKE = Refusal(RefusalKind.UNLIKE, "this does not sound like this lick")
RIGHT_SHARE = 0.70  # of the notes of a pass beside the best one, which is else none
# The weights of a logistic regression on 200 takes of the sets of tests/bench/listening.py read as their lick, as their lick with 15 to 36 % of its notes
# changed, and as each of the three licks of their set that are nearest in key, length and number of notes. Above the limit are all of the first, 177 of
# the second and 2 of the 600 others.
_LIMIT = 1.2
_BASE, _BY_COST = 2.0, -4.9
_BY_RIGHT, _BY_MISSING, _BY_TIME = 0.71, -3.7, 0.22
_BY_JUMP, _BY_EXTRA, _BROKEN_OFF = -1.7, -0.6, -2.1
_UNSHIFTED, _ODD_TEMPO = 1.4, -2.8
_SKIPPED, _FEWEST_RIGHT = 3, 5  # notes in a row that were skipped as one, where so many others are right
_RIGHT, _RIGHT_ELSEWHERE = 0.75, 0.5  # share of right notes of a weak student, and of a reading of another lick
_MOST_BY_RIGHT = 4.0  # that the share of right notes counts for, either way: notes depend on each other
_MOST_MISSING = 0.6  # share of the notes
_MOST_JUMPS = 4  # pauses and leaps, or extra notes
_TIMING = 0.020  # seconds: standard deviation of a student who plays the lick
_OUT = 0.1  # share of the onsets that are anywhere, even so
_ANYWHERE = 0.2  # seconds in which the onsets of another lick lie around where they should
_MOST_BY_TIME, _LEAST_BY_TIME = 20.0, -10.0
CAPO = 5  # semitones beyond which no capo, or other tuning, is likely
# Share of right notes that is needed at such a shift: it is chosen so that it fits, and licks of one rhythm and one scale are alike at some.
_RIGHT_FAR = 0.85
_USUAL_TEMPOS = (0.4, 1.5)  # of the lick's own
_RATE_SHIFT, _RATE_NEAR = (
    7,
    0.05,
)  # semitones from which on a shift that goes with the tempo is the file's, and how near the two must be, in octaves
# Notes that are right and alone, from which on, and share of them of which a pitch must be heard: of guitars in the sets of tests/bench/listening.py it
# is 0.55 and more, of drums, crackle and scratches 0.2 and less: their spectra have something at every partial.
_ALONE, _PITCHED = 3, 0.35


def judge_likeness(one: JudgedPass, shift: int, cost: float) -> Refusal | None:
    """Return why a pass, shifted by so many semitones and read at so much a group, is not the lick; None if it is."""
    tempo = 1 / one.pace if one.pace > 0 else 0.0
    if abs(shift) >= _RATE_SHIFT and abs(np.log2(max(tempo, 1e-9)) - shift / 12) < _RATE_NEAR:
        high, fast = ("high", "fast") if shift > 0 else ("low", "slow")
        words = f"it sounds {abs(shift)} half steps too {high} and as much too {fast}: its sample rate is wrong"
        return Refusal(RefusalKind.RATE, words)
    if _is_without_pitch(one):
        return UNLIKE
    if abs(shift) > CAPO and one.right_pitches < _RIGHT_FAR * (one.judged - _skipped(one)):
        return UNLIKE
    return None if _lick_odds(one, shift, cost, tempo) > _LIMIT else UNLIKE


def _lick_odds(one: JudgedPass, shift: int, cost: float, tempo: float) -> float:
    """Return the logarithm of the odds that a pass is the lick, and not another one."""
    skipped = _skipped(one)
    judged = one.judged - skipped
    missing = sum(note.verdict is NoteVerdict.MISSING for note in one.notes) - skipped
    odds = _BASE + _BY_COST * cost + _BY_RIGHT * _right_evidence(one.right_pitches, judged)
    odds += _BY_MISSING * min(missing / max(1, judged), _MOST_MISSING) + _BY_TIME * _time_evidence(one)
    odds += _BY_JUMP * min(len(one.pauses) + len(one.skips), _MOST_JUMPS) + _BY_EXTRA * min(
        len(one.extras), _MOST_JUMPS
    )
    odds += _UNSHIFTED * (not shift) + _BROKEN_OFF * (one.ends_at is not None)
    return odds + _ODD_TEMPO * (not _USUAL_TEMPOS[0] <= tempo <= _USUAL_TEMPOS[1])


def _skipped(one: JudgedPass) -> int:
    """Return how many of the missing notes are no mistakes of their own: all but one of a bar or so that was skipped, between others."""
    runs = [
        (missing, sum(1 for _ in run))
        for missing, run in groupby(one.notes, lambda note: note.verdict is NoteVerdict.MISSING)
    ]
    longest = max((count for missing, count in runs[1:-1] if missing), default=0)
    return longest - 1 if longest >= _SKIPPED and one.right_pitches >= _FEWEST_RIGHT else 0


def _right_evidence(right: int, judged: int) -> float:
    """Return the logarithm of how much likelier so many right notes, of those that are judged, are in the lick than in another one."""
    odds = right * np.log(_RIGHT / _RIGHT_ELSEWHERE) + (judged - right) * np.log((1 - _RIGHT) / (1 - _RIGHT_ELSEWHERE))
    return float(np.clip(odds, -_MOST_BY_RIGHT, _MOST_BY_RIGHT))


def _time_evidence(one: JudgedPass) -> float:
    """Return the logarithm of how much likelier the times of the onsets are in the lick than in another one, whose onsets may lie anywhere around."""
    late = np.array(
        list({note.onset: note.late for note in one.notes if note.onset is not None and note.late is not None}.values())
    )
    timed = np.exp(-0.5 * (late / _TIMING) ** 2) / (_TIMING * np.sqrt(2 * np.pi))
    odds = np.log((1 - _OUT) * timed * _ANYWHERE + _OUT).sum()
    return float(np.clip(odds, _LEAST_BY_TIME, _MOST_BY_TIME))


def right_share(one: JudgedPass) -> float:
    """Return the share of the judged notes that are right, 0 to 1."""
    return one.right_pitches / max(1, one.judged)


def _is_without_pitch(one: JudgedPass) -> bool:
    """Return whether notes are right by their partials alone where a pitch should be heard too, as of anything that is struck."""
    together = Counter((note.sound.start, note.sound.lead) for note in one.notes)
    right = [note for note in one.notes if note.verdict is NoteVerdict.RIGHT]
    alone = [note for note in right if together[note.sound.start, note.sound.lead] == 1]
    return len(alone) >= _ALONE and sum(note.pitch is not None for note in alone) < _PITCHED * len(alone)
