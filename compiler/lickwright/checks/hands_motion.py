"""Speed of both hands (L435–L438): shifts, hops of one finger, picking, sweeps.

In: a Timeline, and its sounds under the fretting hand or the pick. Out: findings, one for each passage. The test for shifts is exact: each fret allows the
index finger an interval of positions, all of one width. A hand of limited speed can reach all of them in time if and only if it can reach every two
of them, so one pass that keeps the extremes so far finds the first fret that is out of reach.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from lickwright.checks.findings import finding_at_sound, note_as_typed, string_in_words
from lickwright.core.diagnostics import Diagnostic, RelatedInformation, Rule, Severity
from lickwright.hand.measures import CAUTION_FAST, HOPS, ONE_WAY, PICKING, SHIFT_EASY, SHIFT_HARD, SWEEPING, Hand
from lickwright.notation.techniques import WORDS, Curve
from lickwright.timeline.model import SoundingNote, Timeline

Seconds = Callable[[float], float]


def _rule(code: str, name: str, summary: str, explanation: str, bad: str, good: str, tempo: int) -> Rule:
    texts = (f'lick "In time"\nkey A minor\ntempo {tempo}\nstep 1/16\n| {music} ||\n' for music in (bad, good))
    return Rule(code, name, Severity.WARNING, summary, explanation, *texts)


SHIFT = _rule(
    "L435", "shift too fast",
    "the hand has to shift faster along the neck than hands can",
    "Up to a meter a second (10 inches in a quarter of a second) is easy for a hand, up to two is hard; beyond that is a "
    "warning. Gain time with an open string or a rest, slide, or play the note where the hand is.",
    "e3--- e3 e19 e3 e19 e3---....", "e3--- e3--- e19--- ....", 150,
)  # fmt: skip
HOP = _rule(
    "L436", "hop with one finger",
    "the same finger is written for two places too soon after each other",
    "One finger can hop about six times a second at most; another finger is there already. Across two strings next to "
    "each other on one fret, a finger may lie flat and roll, which is quick.",
    "G5'1 G7'1 G5'1 G7'1 G5--- ........", "G5'1 G7'3 G5'1 G7'3 G5--- ........", 120,
)  # fmt: skip
PICKING_SPEED = _rule(
    "L437", "picking speed",
    "more pick strokes a second than hands can play",
    "From 10 notes a second on, picking is for advanced players, from 13 for a few, and past 17 nobody does it; strokes all "
    "one way reach about half of that. Hammer-ons, pull-offs and sweeps are faster: let the fretting hand play some, or "
    "take the tempo down.",
    "G5 G7 G5 G7 G5 G7 G5 G7 G5 G7 G5 G7 G5---", "G5 h7 p5 h7 G5 h7 p5 h7 G5 h7 p5 h7 G5---", 230,
)  # fmt: skip
SWEEP = _rule(
    "L438", "sweep that turns back",
    "fast strokes one way that skip a string or go against the stroke",
    "At such a speed strokes one way are one movement across the strings: a down-stroke falls from the thick to the thin ones, "
    "one note a string, an up-stroke the other way. A string that is skipped or lies the other way needs a stroke of its own.",
    "(down: D7 G5 e5 B5) e8--- ........", "(down: D7 G5 B5 e5) e8--- ........", 150,
)  # fmt: skip

RULES: tuple[Rule, ...] = (SHIFT, HOP, PICKING_SPEED, SWEEP)


def _seconds(timeline: Timeline) -> Seconds:
    from lickwright.performance.tempo_map import written_tempo_map

    return written_tempo_map(timeline).seconds


def _fastest(timeline: Timeline) -> float:
    """Return the seconds a grain where the lick is fastest, the short half of a swung pair included: never longer than what is heard."""
    long, short = timeline.settings.feel.ratio
    quarter = 60.0 / float(max(tempo.qpm for tempo in timeline.tempos))
    return 4.0 * quarter / timeline.grain * 2.0 * short / (long + short)


# --- the fretting hand -----------------------------------------------------------------------------------------------


def check_shifts(timeline: Timeline, hand: Hand, fretted: Sequence[SoundingNote]) -> Iterator[Diagnostic]:
    """Yield shifts faster than is easy, whatever fingers are taken.

    The walk is tried first with the quickest time that there could be, which costs less than the exact one.
    """
    frets = [sound.fret or 0 for sound in fretted]
    if hand.fret_mm(max(frets)) - hand.fret_mm(min(frets)) <= hand.stretch:
        return  # it never moves
    grain = _fastest(timeline)
    if not next(_hurried(fretted, hand, lambda at: at * grain), None):
        return
    seconds = _seconds(timeline)
    for before, sound in _hurried(fretted, hand, seconds):
        yield _shift(timeline, hand, before, sound, seconds(sound.start) - seconds(before.start))


def _hurried(
    fretted: Sequence[SoundingNote], hand: Hand, seconds: Seconds
) -> Iterator[tuple[SoundingNote, SoundingNote]]:
    """Yield the pairs between which the hand has to move faster than is easy; after each the walk begins anew."""
    reach, pace = hand.stretch, SHIFT_EASY
    low, high = float("inf"), float("-inf")  # of place - pace x time, and of place + pace x time
    lowest = highest = first = fretted[0]
    waiting: list[tuple[float, float, SoundingNote]] = []  # of the same instant: not yet behind the hand
    for sound in fretted:
        if sound.start != first.start:
            for down, up, other in waiting:
                low, lowest = (down, other) if down < low else (low, lowest)
                high, highest = (up, other) if up > high else (high, highest)
            waiting, first = [], sound
        place, moved = hand.fret_mm(sound.fret or 0), pace * seconds(sound.start)
        if place - moved - reach > low or high - place - moved > reach:
            yield (lowest if place - moved - reach > low else highest), sound
            low, high, waiting = float("inf"), float("-inf"), []
        waiting.append((place - moved, place + moved, sound))


def _shift(timeline: Timeline, hand: Hand, before: SoundingNote, sound: SoundingNote, time: float) -> Diagnostic:
    far = abs(hand.fret_mm(sound.fret or 0) - hand.fret_mm(before.fret or 0)) - hand.stretch
    pace = far / max(time, 0.001)
    severity, how = (Severity.WARNING, "very fast") if pace > SHIFT_HARD else (Severity.INFO, "fast")
    message = f"a {how} shift: from fret {before.fret} to fret {sound.fret} in {time:.2f} seconds"
    hint = "gain time with an open string or a slide, or play it where the hand is"
    there = (RelatedInformation(before.span, "the hand shifts from here"),)
    return finding_at_sound(SHIFT, timeline, sound, message, hint, there, severity)


def check_hops(timeline: Timeline) -> Iterator[Diagnostic]:
    """Yield where the same finger, as written, plays twice in a row at two places with too little time between."""
    last: dict[str, SoundingNote] = {}
    seconds: Seconds | None = None
    grain = _fastest(timeline)
    for sound in timeline.sounds:
        finger = sound.finger
        if finger is None or finger == "T" or not sound.fret:
            continue
        before = last.get(finger)
        last[finger] = sound
        if before is None or before.start == sound.start or not _hops(before, sound):
            continue
        if (sound.start - before.start) * grain * HOPS >= 1.0:
            continue
        seconds = seconds or _seconds(timeline)
        time = seconds(sound.start) - seconds(before.start)
        if time * HOPS < 1.0:
            places = f"{note_as_typed(timeline, before.string, before.fret or 0)} to {note_as_typed(timeline, sound.string, sound.fret)}"
            message = f"finger {finger} hops from {places} in {time:.2f} seconds, too fast for one finger"
            there = (RelatedInformation(before.span, "from here"),)
            yield finding_at_sound(HOP, timeline, sound, message, "give one of the two another finger", there)


def _hops(before: SoundingNote, sound: SoundingNote) -> bool:
    if before.string == sound.string:
        return before.fret != sound.fret and sound.begin.curve is not Curve.GLIDE
    return before.fret != sound.fret or abs(before.string - sound.string) > 1


# --- the picking hand ------------------------------------------------------------------------------------------------

_WINDOW = 4  # strokes that a speed is measured over (estimate): fewer are a short burst, which is not hard
Stroke = tuple[SoundingNote, str]  # the first sound of a pick stroke, and its way: "alternate", "down", "up", "swept"


def check_picking(timeline: Timeline, picked: Sequence[SoundingNote]) -> Iterator[Diagnostic]:
    """Yield findings about strokes a second and about sweeps. Plucking fingers are not judged."""
    one_way = any(_way(sound) for sound in picked if sound.marks)
    least = ONE_WAY[0] if one_way else PICKING[0]  # strokes a second
    close = 1.0 / (_fastest(timeline) * least)  # grains: strokes further apart than this are never remarkable
    if not any(b.start - a.start <= close and b.start > a.start for a, b in zip(picked, picked[1:], strict=False)):
        return
    strokes = list(_strokes(picked))
    seconds = _seconds(timeline)
    times = [seconds(sound.start) for sound, _ in strokes]
    yield from _sweeps(timeline, strokes, times)
    yield from _speeds(timeline, strokes, times)


def _strokes(picked: Sequence[SoundingNote]) -> Iterator[Stroke]:
    """Yield a stroke for each instant. A note that goes on to the next string the way the last two went is swept."""
    before: SoundingNote | None = None
    step = 0  # strings, from the stroke before; 0 where one was no single note
    alone = {}
    for sound in picked:
        alone[sound.start] = sound.start not in alone
    for sound in picked:
        if sound.pluck is not None:
            before, step = None, 0
            continue
        if before is not None and before.start == sound.start:
            continue
        went = sound.string - before.string if before is not None and alone[sound.start] and alone[before.start] else 0
        way = _way(sound)
        swept = abs(went) == 1 and went == step
        yield sound, way or ("swept" if swept else "alternate")
        before, step = sound, went


def _way(sound: SoundingNote) -> str:
    return next((mark.sign for mark in sound.marks if mark is WORDS["down"] or mark is WORDS["up"]), "")


def _sweeps(timeline: Timeline, strokes: list[Stroke], times: list[float]) -> Iterator[Diagnostic]:
    """Yield strokes one way, quicker than single strokes, that do not cross the strings one at a time, down to thinner ones."""
    for n in range(1, len(strokes)):
        (before, old), (sound, way) = strokes[n - 1], strokes[n]
        step = before.string - sound.string if way == "down" else sound.string - before.string
        if old != way or way not in ("down", "up") or step in (0, 1) or times[n] - times[n - 1] > 1.0 / ONE_WAY[1]:
            continue
        names = f"{string_in_words(timeline, before.string)} to {string_in_words(timeline, sound.string)}"
        wrong = "skips a string" if step > 1 else f"goes against a {way}-stroke"
        message = f"from {names} {wrong}, with {times[n] - times[n - 1]:.2f} seconds for it"
        other = "up" if way == "down" else "down"
        there = (RelatedInformation(before.span, "from here"),)
        yield finding_at_sound(SWEEP, timeline, sound, message, f"begin an {other}-stroke here" if other == "up" else
                       "begin a down-stroke here", there)  # fmt: skip


def _speeds(timeline: Timeline, strokes: list[Stroke], times: list[float]) -> Iterator[Diagnostic]:
    """Yield the fastest stretch of each passage that is faster than is easy."""
    worst: tuple[float, int, float, tuple[float, float, float]] | None = None
    end = -1
    for n in range(len(strokes) - _WINDOW):
        rate, limits = _rate(strokes[n : n + _WINDOW + 1], times[n : n + _WINDOW + 1])
        if rate > limits[0] * 1.0001:
            if worst is None or rate / limits[0] > worst[0]:
                worst = (rate / limits[0], n, rate, limits)
            end = n + _WINDOW
        elif worst is not None and n > end:
            yield _too_fast(timeline, strokes[worst[1]], worst[2], worst[3])
            worst = None
    if worst is not None:
        yield _too_fast(timeline, strokes[worst[1]], worst[2], worst[3])


def _rate(strokes: list[Stroke], times: list[float]) -> tuple[float, tuple[float, float, float]]:
    """Return the strokes a second, and the limits that hold; swept notes cost no stroke of their own where others are between."""
    ways = [way for _, way in strokes[1:]]
    time = max(times[-1] - times[0], 0.001)
    crossing = all(a.string != b.string for (a, _), (b, _) in zip(strokes, strokes[1:], strict=False))
    if len(set(ways)) == 1 and ways[0] in ("down", "up"):
        return _WINDOW / time, SWEEPING if crossing else ONE_WAY
    swept = ways.count("swept")
    if swept >= _WINDOW - 1:
        return _WINDOW / time, SWEEPING
    return (_WINDOW - swept) / time, PICKING


def _too_fast(timeline: Timeline, stroke: Stroke, rate: float, limits: tuple[float, float, float]) -> Diagnostic:
    severity = Severity.ERROR if rate > limits[2] else Severity.WARNING if rate > limits[1] else Severity.INFO
    what = {PICKING: "picked", ONE_WAY: "picked all one way", SWEEPING: "swept"}[limits]
    says = {Severity.ERROR: "faster than anyone plays", Severity.WARNING: "very fast", Severity.INFO: "fast"}[severity]
    message = f"{rate:.1f} notes a second, {what}: {says}"
    hint = "slow down, or play some with hammer-ons and pull-offs" if severity is Severity.ERROR else CAUTION_FAST
    return finding_at_sound(PICKING_SPEED, timeline, stroke[0], message, hint, (), severity)
