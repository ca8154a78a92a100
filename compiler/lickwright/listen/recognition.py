"""Whether what was played is the lick at all: the odds against a background of other licks.

In: a `JudgedPass`, by how many semitones it is shifted and what its reading costs. Out: the words of a refusal. The dynamic
programme finds a reading of any recording as any lick, and half the notes of a wrong one come out right; so that the share of right notes alone tells little.
A student's own mistakes, however many, leave the cost of the reading low, its time steady and its pitch where it is written.
"""

from __future__ import annotations

from collections import Counter
from itertools import groupby

import numpy as np

from lickwright.listen.model import JudgedPass, NoteVerdict

UNLIKE = "this does not sound like this lick"
RIGHT_SHARE = 0.70  # of the notes of a pass beside the best one, which is else none
# The weights of a logistic regression on what `refusal_words` is given, of 200 takes of the sets of tests/bench/listening.py, 120 in which 15 to 36 % of
# the notes were left out or wrong, and 480 of other licks. Odds of the latter: two in 100 above 0, none above 0.7; of the former one in 100 below 0.9.
_LIMIT = 0.95
_BASE, _BY_RIGHT, _BY_COST = 1.1, 0.8, -6.4
_UNSHIFTED, _FAR_SHIFTED = 1.3, -1.1
_IS_STEADY, _STEADY_UNKNOWN = 2.6, 1.3
_ODD_TEMPO = -2.7
_RIGHT, _RIGHT_ELSEWHERE = 0.75, 0.5  # share of right notes of a weak student, and of a reading of another lick
_MOST_BY_RIGHT = 4.0  # that the share of right notes counts for, either way: notes depend on each other
CAPO = 5  # semitones beyond which no capo, or other tuning, is likely
_USUAL_TEMPOS = (0.4, 1.5)  # of the lick's own
_RATE_SHIFT, _RATE_NEAR = (
    7,
    0.05,
)  # semitones from which on a shift that goes with the tempo is the file's, and how near the two must be, in octaves
# A shift is chosen so that it fits: licks of one scale and one rhythm are alike at some. Share of right notes that is needed there, and the cost a group of a
# reading that needs less.
_RIGHT_SHIFTED, _WELL_SHIFTED = 0.85, 0.4
# A pass nearly all right and in time is the lick, whatever else is in the recording: talk, pauses and false starts make up the cost of its reading then.
_SURELY_RIGHT, _SURELY_MOST, _SURELY_MOST_FAR = (
    0.85,
    1.1,
    0.7,
)  # share, and cost a group: at most, and at a shift that no capo makes
_FEW = 4  # onsets without which nothing is known of the time
_MANY = 6  # judged notes that are many
_STEADY = 0.020  # seconds: the middle lateness of one who is in time
_FEW_PAUSES = 2
# Notes in a row that were skipped, and the cost a group of the rest: of other licks, whose readings have such holes too, it is 0.75 and more.
_SKIPPED, _WELL_BESIDE = 3, 0.6
_TOLD = 0.6  # share of the notes that were heard to begin whose time is told: it is not of one that is far too early or too late
# Notes that are right and alone, from which on, and share of them of which a pitch must be heard: of guitars in the sets of tests/bench/listening.py it
# is 0.55 and more, of drums, crackle and scratches 0.2 and less: their spectra have something at every partial.
_ALONE, _PITCHED = 3, 0.35


def refusal_words(one: JudgedPass, shift: int, cost: float) -> str:
    """Return why a pass, shifted by so many semitones and read at so much a group, is not the lick; "" if it is."""
    tempo = 1 / one.pace if one.pace > 0 else 0.0
    if abs(shift) >= _RATE_SHIFT and abs(np.log2(max(tempo, 1e-9)) - shift / 12) < _RATE_NEAR:
        high, fast = ("high", "fast") if shift > 0 else ("low", "slow")
        return f"it sounds {abs(shift)} half steps too {high} and as much too {fast}: its sample rate is wrong"
    if _is_without_pitch(one):
        return UNLIKE
    return "" if _is_lick(one, shift, cost, tempo) else UNLIKE


def _is_lick(one: JudgedPass, shift: int, cost: float, tempo: float) -> bool:
    judged, beside = _without_hole(one, cost)
    share, far, steady, usual = one.right_pitches / max(1, judged), abs(shift) > CAPO, _is_steady(one), _is_usual(tempo)
    if share >= _SURELY_RIGHT and judged >= _MANY and usual and steady:
        if beside < (_SURELY_MOST_FAR if far else _SURELY_MOST):
            return True
    elif shift and share < _RIGHT_SHIFTED and (far or beside > _WELL_SHIFTED):
        return False
    odds = _BASE + _odds_by_right(one.right_pitches, judged) + _BY_COST * beside
    odds += _UNSHIFTED if not shift else _FAR_SHIFTED if far else 0.0
    odds += _STEADY_UNKNOWN if steady is None else _IS_STEADY if steady else 0.0
    return odds + (0.0 if usual else _ODD_TEMPO) > _LIMIT


def _odds_by_right(right: int, judged: int) -> float:
    """Return what the notes that are right, of those that are judged, add to the logarithm of the odds."""
    odds = right * np.log(_RIGHT / _RIGHT_ELSEWHERE) + (judged - right) * np.log((1 - _RIGHT) / (1 - _RIGHT_ELSEWHERE))
    return _BY_RIGHT * float(np.clip(odds, -_MOST_BY_RIGHT, _MOST_BY_RIGHT))


def _without_hole(one: JudgedPass, cost: float) -> tuple[int, float]:
    """Return how many notes are judged and the cost a group, both without a bar or so that was skipped, where the rest is read well."""
    hole, count = _hole(one), len(one.notes)
    judged, less = one.judged - hole, (cost * count - hole) / max(1, count - hole)  # a note that is left out costs 1
    if hole < _SKIPPED or judged < _MANY or less > _WELL_BESIDE:
        return one.judged, cost
    return judged, less


def _is_usual(tempo: float) -> bool:
    return _USUAL_TEMPOS[0] <= tempo <= _USUAL_TEMPOS[1]


def right_share(one: JudgedPass) -> float:
    """Return the share of the judged notes that are right, 0 to 1."""
    return one.right_pitches / max(1, one.judged)


def _is_without_pitch(one: JudgedPass) -> bool:
    """Return whether notes are right by their partials alone where a pitch should be heard too, as of anything that is struck."""
    together = Counter((note.sound.start, note.sound.lead) for note in one.notes)
    right = [note for note in one.notes if note.verdict is NoteVerdict.RIGHT]
    alone = [note for note in right if together[note.sound.start, note.sound.lead] == 1]
    return len(alone) >= _ALONE and sum(note.pitch is not None for note in alone) < _PITCHED * len(alone)


def _hole(one: JudgedPass) -> int:
    """Return the number of notes of the longest run that is missing between others, as where a student falls silent or skips a bar."""
    runs = [
        (missing, sum(1 for _ in run))
        for missing, run in groupby(one.notes, lambda n: n.verdict is NoteVerdict.MISSING)
    ]
    return max((count for missing, count in runs[1:-1] if missing), default=0)


def _is_steady(one: JudgedPass) -> bool | None:
    """Return whether a pass is in time with the lick: other licks may have its pitches, but seldom its rhythm too; None where too few onsets are known."""
    late = [abs(note.late) for note in one.notes if note.late is not None]
    if len(late) < _FEW:
        return None if one.judged < _MANY else False
    begun = sum(note.onset is not None and note.verdict is NoteVerdict.RIGHT for note in one.notes)
    told = len(one.pauses) <= _FEW_PAUSES and len(one.extras) <= _FEW_PAUSES and len(late) >= _TOLD * begun
    return told and float(np.median(late)) < _STEADY
