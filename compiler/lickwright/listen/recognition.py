"""Whether what was played is the lick at all: the odds against a background of other licks.

In: a `JudgedPass`, by how many semitones it is shifted and how well the lick and its mirrors fit. Out: a `Refusal`, or None. The dynamic programme finds a
reading of any recording as any lick, and half the notes of a wrong one come out right; so that the share of right notes alone tells little. A student's own
mistakes, pauses and false starts leave the lick much better than its mirrors: a logistic regression weighs these together.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import groupby

import numpy as np

from lickwright.listen.mirrors import Fit
from lickwright.listen.model import JudgedPass, NoteVerdict, Refusal, RefusalKind
from lickwright.timeline.model import SoundingNote

UNLIKE = Refusal(RefusalKind.UNLIKE, "this does not sound like this lick")
RIGHT_SHARE = 0.70  # of the notes of a pass beside the best one, which is else none
# The weights of a logistic regression on 295 recordings read as their lick (155 of the sets of tests/bench/listening.py, 140 of beginners with 2 to 8 slips,
# half of the tempo, pauses, false starts, talk, or an end that is left out), 1,172 times as one of three licks that are nearest to it in key, length and
# number of notes, or as any other, and on 356 readings of drums, speech, clicks, humming, and notes of a lick at random on other instruments. Above the
# limit are 280 of the first (all of the 155), 4 of the others, and no noise, each weighed by a fit on the other four fifths of the recordings.
_LIMIT = 0.1
_LIMIT_SHIFTED = 0.55  # of a reading that is shifted, which is the best of several
_BASE, _BY_COST, _BY_RIGHT, _BY_MARGIN = -3.11, -3.17, 0.67, 4.46
_UNSHIFTED, _FAR, _ODD_TEMPO, _BY_SKIP, _BY_EXTRA = 1.43, -2.2, -2.11, -0.86, -0.71
_RIGHT, _RIGHT_ELSEWHERE = 0.75, 0.5  # share of right notes of a weak student, and of a reading of another lick
_MOST_BY_RIGHT = 4.0  # that the share of right notes counts for, either way: notes depend on each other
_PAUSED, _AGAIN = 0.9, 0.8  # what a pause and a false start cost a reading, which say nothing against the lick
_MOST_JUMPS = 4  # pauses, leaps, false starts, or extra notes
_MOST_COST = 1.2  # a group
_MOST_GROUPS = 40  # from which on more of them are no surer: those of a long lick are alike
_SKIPPED, _FEWEST_RIGHT = 3, 5  # notes in a row that were skipped as one, where so many others are right
CAPO = 5  # semitones beyond which no capo, or other tuning, is likely
# Share of right notes that is needed at such a shift: it is chosen so that it fits, and licks of one rhythm and one scale are alike at some.
_RIGHT_FAR = 0.85
_USUAL_TEMPOS = (0.38, 1.5)  # of the lick's own
# Semitones from which on a shift that goes with the tempo is the file's, and how near the two must be, in octaves.
_RATE_SHIFT, _RATE_NEAR = 7, 0.05
# Notes that are right and alone, from which on, and share of them of which a pitch must be heard: of guitars in the sets of tests/bench/listening.py it
# is 0.55 and more, of drums, crackle and scratches 0.2 and less: their spectra have something at every partial.
_ALONE, _PITCHED = 3, 0.35


def judge_likeness(one: JudgedPass, shift: int, fit: Fit) -> Refusal | None:
    """Return why a pass, shifted by so many semitones, is not the lick, whose groups that were played fit so; None if it is."""
    tempo = 1 / one.pace if one.pace > 0 else 0.0
    if abs(shift) >= _RATE_SHIFT and abs(np.log2(max(tempo, 1e-9)) - shift / 12) < _RATE_NEAR:
        high, fast = ("high", "fast") if shift > 0 else ("low", "slow")
        words = f"it sounds {abs(shift)} half steps too {high} and as much too {fast}: its sample rate is wrong"
        return Refusal(RefusalKind.RATE, words)
    if _is_without_pitch(one):
        return UNLIKE
    if abs(shift) > CAPO and one.right_pitches < _RIGHT_FAR * (one.judged - _skipped(one)):
        return UNLIKE
    limit = _LIMIT_SHIFTED if shift else _LIMIT
    return None if _lick_odds(one, shift, fit, tempo) > limit else UNLIKE


def _lick_odds(one: JudgedPass, shift: int, fit: Fit, tempo: float) -> float:
    """Return the logarithm of the odds that a pass is the lick, and not another one."""
    played = groups_played(one)
    excused = _PAUSED * min(len(one.pauses), _MOST_JUMPS) + _AGAIN * min(len(one.again), _MOST_JUMPS)
    cost = (fit.cost * played - excused) / (played + _groups_given_up(one))
    odds = _BASE + _BY_COST * float(np.clip(cost, 0, _MOST_COST))
    odds += _BY_MARGIN * (fit.mirrored - fit.cost) * float(np.sqrt(min(played, _MOST_GROUPS)))
    odds += _BY_RIGHT * _right_evidence(one.right_pitches, one.judged - _skipped(one))
    odds += _BY_SKIP * min(len(one.skips), _MOST_JUMPS) + _BY_EXTRA * min(len(one.extras), _MOST_JUMPS)
    odds += _UNSHIFTED * (not shift) + _FAR * (abs(shift) > CAPO)
    return odds + _ODD_TEMPO * (not _USUAL_TEMPOS[0] <= tempo <= _USUAL_TEMPOS[1])


def groups_played(one: JudgedPass) -> int:
    """Return how many groups of notes the lick has up to the last that was played, 1 at least."""
    return max(1, _groups_up_to(one, [note.sound for note in one.notes if note.onset is not None]))


def _groups_given_up(one: JudgedPass) -> float:
    """Return how many groups were played besides, before the lick was begun again, in the mean: from its beginning on, or from a later bar."""
    return 0.5 * sum(_groups_up_to(one, [sound]) for sound in one.again[:_MOST_JUMPS])


def _groups_up_to(one: JudgedPass, sounds: Sequence[SoundingNote]) -> int:
    """Return how many groups of notes the lick has up to the last of some notes of it."""
    last = max(((sound.start, -sound.lead) for sound in sounds), default=(-1, 0))
    return len({at for at in ((note.sound.start, -note.sound.lead) for note in one.notes) if at <= last})


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


def right_share(one: JudgedPass) -> float:
    """Return the share of the judged notes that are right, 0 to 1."""
    return one.right_pitches / max(1, one.judged)


def _is_without_pitch(one: JudgedPass) -> bool:
    """Return whether notes are right by their partials alone where a pitch should be heard too, as of anything that is struck."""
    together = Counter((note.sound.start, note.sound.lead) for note in one.notes)
    right = [note for note in one.notes if note.verdict is NoteVerdict.RIGHT]
    alone = [note for note in right if together[note.sound.start, note.sound.lead] == 1]
    return len(alone) >= _ALONE and sum(note.pitch is not None for note in alone) < _PITCHED * len(alone)
