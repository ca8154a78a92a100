"""Rhythm (L3xx): bars that do not add up, pick-ups that nobody declared.

In: a Timeline. Out: findings, each at its written bar. A bar that holds something unreadable is not judged, nor is `%`,
which is as long as the bar that it repeats.
"""

from __future__ import annotations

from fractions import Fraction

from lickwright.checks.findings import beat_at
from lickwright.core.diagnostics import Change, Diagnostic, Fix, RelatedInformation, Rule, Severity
from lickwright.core.source import Span
from lickwright.music.rhythm import usual_time, value_name
from lickwright.timeline.model import Bar, Timeline, TupletSpan

SHORT = Rule(
    "L301", "bar too short", Severity.ERROR,
    "a bar holds less than the meter asks for",
    "Every bar lasts as long as the meter says. Hold a note longer with -, rest with a dot, or write a note "
    "with another "
    "length by changing the step: 1/4 G7. A short first bar is a pick-up and needs a pickup line; the last "
    "bar, and the one before "
    "a repeat sign :|, may be short by exactly the pick-up.",
    'lick "Early exit"\nkey A minor\n| e8 e5 B8 B5 G7 - - ||\n',
    'lick "Early exit"\nkey A minor\n| e8 e5 B8 B5 G7 - - - ||\n',
)  # fmt: skip
LONG = Rule(
    "L302", "bar too long", Severity.ERROR,
    "a bar holds more than the meter asks for",
    "Every bar lasts as long as the meter says. Move what is too much into the next bar, take a hold out, or "
    "write shorter notes: "
    "a smaller step (1/16), or a tuplet (3[…] puts three steps into the time of two).",
    'lick "Past the fence"\nkey A minor\n| e8 e5 B8 B5 G7 - - - - ||\n',
    'lick "Past the fence"\nkey A minor\n| e8 e5 B8 B5 G7 - - - ||\n',
)  # fmt: skip
PICKUP = Rule(
    "L303", "pick-up not declared", Severity.WARNING,
    "a short first bar without a pickup line",
    "A first bar may be short, as a pick-up. Say so with a pickup line, so that it is counted to lead into beat one, "
    "and so that a slip in the first bar is not taken for one.",
    'lick "Running start"\nkey A minor\n| G5 G7 | e8 e5 B8 B5 G7 - - - ||\n',
    'lick "Running start"\nkey A minor\npickup 1/4\n| G5 G7 | e8 e5 B8 B5 G7 - - - ||\n',
)  # fmt: skip
CHORDS = Rule(
    "L304", "chords past the end", Severity.WARNING,
    "the chords line has more bars than the lick",
    "Chords follow the bars as written, the pick-up excluded; those past the last bar are never heard. Usually "
    "a bar line is "
    "missing, in the music or between the chords.",
    'lick "Ten bales"\nkey A minor\nchords Am7 | D7 | Em7\n| e8 e5 B8 B5 G7 - - - | G7 - G5 - - - . . ||\n',
    'lick "Ten bales"\nkey A minor\nchords Am7 | D7\n| e8 e5 B8 B5 G7 - - - | G7 - G5 - - - . . ||\n',
)  # fmt: skip

RULES: tuple[Rule, ...] = (SHORT, LONG, PICKUP, CHORDS)

_FINER = tuple(Fraction(1, n) for n in (8, 16, 32, 64, 12, 24, 48, 96))  # units to count in when no coarser one fits


def check_rhythm(timeline: Timeline) -> list[Diagnostic]:
    """Return the findings about rhythm (L3xx)."""
    if timeline.settings.unread & {"meter", "step", "pickup"}:
        return []
    # An empty bar is reported where bars are counted.
    wrong = [bar for bar in timeline.bars if bar.length not in (0, bar.nominal) and bar.sure and not bar.same]
    found = []
    if wrong:
        found += _all_alike(timeline, wrong) or _one_by_one(timeline, wrong)
    bars = sum(bar.number > 0 for bar in timeline.bars)
    if len(timeline.settings.chords) > bars and not timeline.unknown:
        found.append(_chords(timeline, bars))
    return found


def _one_by_one(timeline: Timeline, wrong: list[Bar]) -> list[Diagnostic]:
    open_start = _undeclared(timeline)
    found = [_pickup(timeline, open_start)] if open_start is not None else []
    for bar in wrong:
        if bar is not open_start and not _completes(timeline, bar, open_start):
            found.append(_bar(timeline, bar))
    return found


def _undeclared(timeline: Timeline) -> Bar | None:
    """Return the first bar, where it may be a pick-up: short, nothing declared, and neither alone nor repeated alone."""
    first = timeline.bars[0]
    short = first.sure and 0 < first.length < first.nominal
    alone = len(timeline.bars) == 1 or first.repeat_end > 0
    return first if short and not alone and timeline.settings.pickup is None else None


def _completes(timeline: Timeline, bar: Bar, open_start: Bar | None) -> bool:
    """Return whether a bar is short by exactly the pick-up, where it may be: at an end, or before what goes back."""
    ends = any(node.mark.target or node.mark.sign == "fine" for node in bar.marks)
    if bar.number == 0 or not (bar.repeat_end or ends or bar is timeline.bars[-1]):
        return False
    pickup = timeline.settings.pickup
    lacking = timeline.fraction(bar.nominal - bar.length)
    return lacking == (pickup if pickup is not None else timeline.fraction(open_start.length) if open_start else 0)


def _made_up_for(timeline: Timeline, first: Bar) -> bool:
    """Return whether a bar that may be short lacks exactly what the first one holds, and whole bars show that the meter is right."""
    return any(bar.length == bar.nominal for bar in timeline.bars) and any(
        _completes(timeline, bar, first) for bar in timeline.bars[1:] if bar.sure and 0 < bar.length < bar.nominal
    )


# --- words -----------------------------------------------------------------------------------------------------------


def _unit(timeline: Timeline, *lengths: Fraction) -> Fraction:
    """Return the note value to count in: the lick's step, else the meter's unit, else the coarsest that divides all."""
    meter = timeline.settings.meter
    for unit in (timeline.settings.step, Fraction(1, meter.unit), *_FINER):
        if all(length % unit == 0 for length in lengths):
            return unit
    return Fraction(1, meter.unit)


def _number(count: Fraction) -> str:
    """Return `7`, or `7 1/3`."""
    whole, rest = divmod(count, 1)
    return str(whole) if not rest else f"{whole} {rest}" if whole else str(rest)


def _amount(length: Fraction, unit: Fraction) -> str:
    """Return `7 eighths`."""
    count = length / unit
    name = value_name(unit)
    return f"{_number(count)} {name}" + ("" if count == 1 or name.endswith("note") else "s")


def _asks(timeline: Timeline, bar: Bar) -> str:
    if bar.number == 0:
        return f"pickup {timeline.settings.pickup}"
    return str(timeline.settings.meter)


def _set_here(timeline: Timeline, bar: Bar) -> tuple[RelatedInformation, ...]:
    field, name = ("pickup", "the pick-up") if bar.number == 0 else ("meter", "the meter")
    return timeline.settings.set_here(field, name)


def _lengths(timeline: Timeline, bar: Bar) -> tuple[Fraction, Fraction, Fraction]:
    """Return what the bar holds, what it should, and the note value to say both in."""
    held, asked = timeline.fraction(bar.length), timeline.fraction(bar.nominal)
    return held, asked, _unit(timeline, held, asked)


def _called(bar: Bar) -> str:
    return "the pick-up" if bar.number == 0 else f"bar {bar.number}"


# --- findings --------------------------------------------------------------------------------------------------------


def _bar(timeline: Timeline, bar: Bar) -> Diagnostic:
    """Return the finding about a bar that does not add up."""
    held, asked, unit = _lengths(timeline, bar)
    message = f"{_called(bar)} holds {_amount(held, unit)}, {_asks(timeline, bar)} asks for {_number(asked / unit)}"
    notes = _set_here(timeline, bar)
    if (culprit := _overfull(timeline, bar)) is not None:
        return _tuplet(SHORT if held < asked else LONG, culprit, message, bar, notes)
    if held < asked:
        span = bar.closes if bar.closes.end > bar.closes.start else Span(bar.span.end, bar.span.end)
        hint = _short_hint(timeline, bar, held, asked, unit)
        return SHORT.at(span, message, hint, notes, bar.number, beat_at(timeline, bar, bar.length))
    return LONG.at(_surplus(timeline, bar), message, _long_hint(timeline, bar, held, asked, unit), notes, bar.number)


def _overfull(timeline: Timeline, bar: Bar) -> TupletSpan | None:
    """Return the first tuplet of a bar that holds too many or too few steps for its number, if the bar would add up without that."""
    unit = timeline.settings.step
    for tuplet in timeline.tuplets:
        if bar.first <= tuplet.first < bar.last and tuplet.depth == 0 and tuplet.steps % tuplet.count:
            own = sum(timeline.slots[n].length for n in range(tuplet.first, tuplet.last + 1))
            right = Fraction(own) * tuplet.count / tuplet.steps
            if (timeline.fraction(bar.nominal) - Fraction(bar.length - own + right) / timeline.grain) % unit == 0:
                return tuplet
    return None


def _tuplet(
    rule: Rule, tuplet: TupletSpan, message: str, bar: Bar, notes: tuple[RelatedInformation, ...]
) -> Diagnostic:
    """Return the finding about a bar whose length is wrong because of a tuplet."""
    opener = f"{tuplet.count}[" if tuplet.normal == usual_time(tuplet.count) else f"{tuplet.count}:{tuplet.normal}["
    span = Span(tuplet.span.start, tuplet.span.start + len(opener))
    held = f"{_number(tuplet.steps)} step{'s' * (tuplet.steps != 1)}"
    what = "take some out" if tuplet.steps > tuplet.count else "hold one longer, or rest with `.`"
    hint = f"{tuplet.count} steps go into it: {what}"
    return rule.at(span, f"this `{opener}` holds {held}, so {message}", hint, notes, bar.number)


def _surplus(timeline: Timeline, bar: Bar) -> Span:
    """Return the place from the first event that no longer fits to the end of the bar."""
    over = next((s for s in timeline.slots[bar.first : bar.last] if s.at + s.length > bar.nominal), None)
    if over is None or not bar.span.start <= over.event.span.start < bar.span.end:
        return bar.span
    return Span(over.event.span.start, bar.span.end)


def _short_hint(timeline: Timeline, bar: Bar, held: Fraction, asked: Fraction, unit: Fraction) -> str:
    step = timeline.settings.step
    missing = f"{_amount(asked - held, unit)} {'is' if asked - held == unit else 'are'} missing"
    if bar.number == 0:
        return f"{missing}; or write `pickup {held}`"
    if held * 2 == asked and step * 2 <= 1:
        return f"it would fit with `step {step * 2}`; or hold with `-`, rest with `.`"
    if len(timeline.bars) == 1 and held * 2 <= asked:  # more than half a bar leads to nothing: it is a slip
        return f"{missing}; if it is a pick-up, write `pickup {held}` and the bar that it leads to"
    return f"{missing}: hold with `-` or rest with `.`"


def _long_hint(timeline: Timeline, bar: Bar, held: Fraction, asked: Fraction, unit: Fraction) -> str:
    if bar.number == 0:
        if held == timeline.settings.meter.length:
            return "the first bar is a whole one: take the pickup line out"
        return f"write `pickup {held}`, or take some out"
    step = timeline.settings.step
    over = f"{_amount(held - asked, unit)} too much"
    if held == asked * 2:
        return f"it would fit with `step {step / 2}`; or a bar line is missing in the middle"
    if held % asked == 0:
        return f"it would make {held // asked} bars: are bar lines missing?"
    if held - asked == step and not _has_tuplet(timeline, bar):
        return f"{over}: take one out, or make three steps a triplet, `3[…]`"
    return f"{over}: take something out, or move it into the next bar"


def _has_tuplet(timeline: Timeline, bar: Bar) -> bool:
    return any(bar.first <= tuplet.first < bar.last for tuplet in timeline.tuplets)


def _all_alike(timeline: Timeline, wrong: list[Bar]) -> list[Diagnostic]:
    """Return one finding where every judged bar (three or more) holds the same other length: it is the meter that is wrong."""
    judged = [bar for bar in timeline.bars if bar.sure and not bar.same and bar.number > 0]
    if len(wrong) < 3 or len(wrong) < len(judged) or len({bar.length for bar in wrong}) > 1:
        return []
    first = wrong[0]
    held, asked, unit = _lengths(timeline, first)
    message = (
        f"all {len(wrong)} bars hold {_amount(held, unit)}, {_asks(timeline, first)} asks for {_number(asked / unit)}"
    )
    rule, span = (SHORT, first.closes) if held < asked else (LONG, _surplus(timeline, first))
    return [rule.at(span, message, _meter_hint(timeline, held, asked), _set_here(timeline, first), first.number)]


def _meter_hint(timeline: Timeline, held: Fraction, asked: Fraction) -> str:
    step = timeline.settings.step
    if held == asked * 2 or held * 2 == asked:
        return f"they would fit with `step {step * asked / held}`"
    quarters, eighths = held * 4, held * 8
    if quarters.denominator == 1 and held != Fraction(3, 2):
        other = f" or `meter {eighths}/8`" if eighths == 6 else ""
        return f"is it `meter {quarters}/4`{other}?"
    if eighths.denominator == 1:
        return f"is it `meter {eighths}/8`?"
    return f"is it `meter {held * 16}/16`?" if (held * 16).denominator == 1 else "or did you mean another meter?"


def _pickup(timeline: Timeline, bar: Bar) -> Diagnostic:
    held, asked, unit = _lengths(timeline, bar)
    message = f"the first bar holds {_amount(held, unit)} of {_number(asked / unit)}: is it a pick-up?"
    hint = f"if so, add the line `pickup {held}`; if not, {_amount(asked - held, unit)} more"
    fix = None
    if _made_up_for(timeline, bar):  # else the first bar may as well lack a step, or hold a `|` too many
        line = Change(Span(bar.span.start, bar.span.start), f"pickup {held}\n")
        fix = Fix(f"add the line `pickup {held}`", (line,))
    return PICKUP.at(bar.span, message, hint, _set_here(timeline, bar), bar.number, fix=fix)


def _chords(timeline: Timeline, bars: int) -> Diagnostic:
    named = len(timeline.settings.chords)
    span, notes = timeline.settings.finding_place("chords", timeline.span)
    message = f"chords names {named} bars, the lick has {bars}"
    return CHORDS.at(span, message, "chords follow the bars as written, without the pick-up and without repeats", notes)
