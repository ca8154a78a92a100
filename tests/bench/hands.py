"""How fast the hands are judged and fingered: `python tests/bench/hands.py`, some seconds.

Each figure is the median of several runs of this process's own time. Goals: the hands check of 200 notes in 50 ms, on an
ordinary lick of two dozen notes no more than 0.4 ms; fingers, and places for 200 pitches, in 50 ms.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from statistics import median

from lickwright.checks import check_timeline
from lickwright.checks.hands import check_hands
from lickwright.compiler import compile_text
from lickwright.hand.fingering import HandMoment, hand_for, plan_fingering, suggest_fingers
from lickwright.timeline.model import Timeline

ORDINARY = "| e8p5 B8p5 G7p5 D7p5 | e8 e5 B8^10 -r p5 G7 - - | D5h7 G5 B5 e5 B8^10 -r p5 ||"
OPENS = (64, 59, 55, 50, 45, 40)


def milliseconds(work: Callable[[], object], rounds: int) -> float:
    """Median of the times."""
    times = []
    for _ in range(rounds):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return median(times) * 1000


def counted(head: str, music: str) -> Timeline:
    timeline = compile_text(f'lick "Bench"\nkey A minor\n{head}{music}\n').licks[0].timeline
    assert timeline is not None
    return timeline


def wild(rng: random.Random) -> Timeline:
    """Anywhere on the neck, all ringing, fast: nearly every note has a finding."""
    bars = (" ".join(f"{rng.choice('eBGDAE')}{rng.randint(1, 15)}" for _ in range(16)) for _ in range(13))
    return counted("tempo 240\nstep 1/16\n", f"| (ring: {' | '.join(bars)}) ||")


def anywhere(rng: random.Random) -> list[HandMoment]:
    """200 pitches, each with every place it has."""
    found = []
    for n in range(200):
        pitch = rng.randint(50, 76)
        places = ((string, pitch - open_) for string, open_ in enumerate(OPENS, 1) if 0 <= pitch - open_ <= 22)
        found.append(HandMoment(n / 5, n / 5 + 0.2, tuple((place,) for place in places)))
    return found


def main() -> None:
    rng = random.Random(3)
    short = counted("box 1\n", ORDINARY)
    long = counted("tempo 220\nfeel shuffle\n", "| e8p5 B8p5 G7p5 D7p5 " * 25 + "||")
    hard, moments, hand = wild(rng), anywhere(rng), hand_for(short)
    for what, work, goal in (
        (f"hands check, {len(short.sounds)} notes", lambda: check_hands(short), 0.4),
        (f"all checks, {len(short.sounds)} notes", lambda: check_timeline(short), None),
        (f"hands check, {len(long.sounds)} notes", lambda: check_hands(long), 50),
        (f"hands check, {len(hard.sounds)} notes, all of them hard", lambda: check_hands(hard), 50),
        (f"fingers, {len(long.sounds)} notes", lambda: suggest_fingers(long), 50),
        (f"places and fingers, {len(moments)} pitches", lambda: plan_fingering(moments, hand), 50),
    ):
        took = milliseconds(work, 21)
        print(f"{what:<46} {took:8.2f} ms" + (f"   goal {goal} ms" if goal is not None else ""))


if __name__ == "__main__":
    main()
