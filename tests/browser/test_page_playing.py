"""The lesson page plays in a real browser: what is lit and heard is what the timing sheet says.

Playing takes its time, so windows play at the same time wherever that proves the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from math import log2
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browsing import Opened, firefox

from lickwright.export import Options
from lickwright.export.timing import NOTE
from pages import lick_of

pytestmark = pytest.mark.slow

NEAR = 0.03  # seconds that the page may be off the timing sheet
SLOWEST = ("sounded", 40)
RUNS = [("sounded", 100), ("sounded", 110), ("plain", 100), ("sounded", 50), ("plain", 70)]  # pages and speeds
TOGETHER = (RUNS[:3], (SLOWEST, *RUNS[3:]))  # more would get too few frames a second


def _expected(speed: int) -> list[tuple[int, float, float, int, object]]:
    """Event, start and end in seconds of the run, string, fret of each note, from the timing sheet."""
    share = 60 if speed <= 75 else 100
    from fractions import Fraction

    lick = lick_of()
    rows = [row for row in lick.timing(Options(tempo_percent=Fraction(share))) if row.event == NOTE]
    factor = share / speed
    return [(n, row.at_s * factor, (row.at_s + row.for_s) * factor, row.string, row.fret) for n, row in enumerate(rows)]


@dataclass
class Played:
    """What a page showed while it played to the end."""

    start: float  # when its recording began, on the clock of the frames
    frames: list[dict[str, Any]]
    middles: list[tuple[int, float, float]]  # of what is drawn: its event, the middle of it and its width


@pytest.fixture(scope="module")
def played(browser: Any, files: dict[str, Path]) -> dict[tuple[str, int], Played]:
    """Play each page at its speed."""
    return {run: seen for together in TOGETHER for run, seen in _play(browser, files, together)}


def _play(
    browser: Any, files: dict[str, Path], runs: Sequence[tuple[str, int]]
) -> Iterator[tuple[tuple[str, int], Played]]:
    """Play some pages at once, each in a window of its own."""
    with ExitStack() as windows:
        opened = {run: windows.enter_context(Opened(browser, files[run[0]])) for run in runs}
        for (_, speed), one in opened.items():
            if speed != 100:
                one.set_speed(speed)
            one.page.uncheck("#count-in")
            one.page.click("#play")
            one.status("Playing.")
        for run, one in opened.items():
            one.status("Ready.", 60_000)
            (start,) = one.starts()
            frames = [frame for frame in one.frames() if frame["turn"] == "music"]
            middles = one.page.evaluate(
                """() => { const svg = [...document.querySelectorAll('#music svg')].find((s) => s.getClientRects().length);
                const width = svg.viewBox.baseVal.width / svg.getBoundingClientRect().width, left = svg.getBoundingClientRect().left;
                return [...svg.querySelectorAll('[data-event]')].map((g) => { const box = g.getBoundingClientRect();
                return [Number(g.dataset.event), (box.left + box.width / 2 - left) * width, box.width * width]; }); }"""
            )
            assert not one.wrong
            yield run, Played(start["when"], frames, middles)


@pytest.mark.parametrize(("name", "speed"), RUNS)
def test_what_is_lit_is_what_the_timing_sheet_says(
    played: dict[tuple[str, int], Played], name: str, speed: int
) -> None:
    start, seen = played[name, speed].start, played[name, speed].frames
    notes = _expected(speed)
    if name == "plain" and speed <= 75:
        notes = [(n, at * 100 / speed, end * 100 / speed, s, f) for n, at, end, s, f in _expected(100)]
    assert len(seen) > 20
    lit_once = set()
    for before, frame in zip(seen, seen[1:], strict=False):
        low, high = before["at"] - start - NEAR, frame["at"] - start + NEAR
        sure = {n for n, at, end, *_ in notes if at < low and end > high}
        possible = {n for n, at, end, *_ in notes if at < high and end > low}
        assert sure <= set(frame["lit"]) <= possible, (low, high, frame["lit"])
        places = {f"{string}-{fret}" for n, _, _, string, fret in notes if n in sure}
        assert places <= set(frame["places"])
        lit_once |= set(frame["lit"])
    assert lit_once == {n for n, *_ in notes}


def test_the_line_is_on_each_note_when_it_sounds(played: dict[tuple[str, int], Played]) -> None:
    run = played[SLOWEST]
    drawn = {}
    for event, x, width in run.middles:
        if event not in drawn and width < 20:
            drawn[event] = x
    lines = [
        (frame["at"] - run.start, float(frame["line"].split("(")[1].split(" ")[0]))
        for frame in run.frames
        if frame["line"]
    ]
    for event, at, *_ in _expected(SLOWEST[1]):
        near = [x for t, x in lines if abs(t - at) < NEAR]
        if near and event in drawn:
            assert min(abs(x - drawn[event]) for x in near) < 6, (event, at, near, drawn[event])


def test_the_recording_sounds_when_the_sheet_says_at_true_pitch_at_every_speed(
    browser: Any, files: dict[str, Path]
) -> None:
    with ExitStack() as windows:
        opened = {speed: windows.enter_context(Opened(browser, files["sung"])) for speed in (40, 55, 60, 80, 100, 110)}
        for speed, one in opened.items():
            one.set_speed(speed)
            one.page.uncheck("#count-in")
            one.page.click("#play")
            one.status("Playing.")
        sounds = {}
        for speed, one in opened.items():
            sounds[speed] = one.samples()
            assert not one.wrong
    for speed, (samples, rate) in sounds.items():
        first = int(np.argmax(np.abs(samples) > 0.1 * np.abs(samples).max())) / rate
        assert first < NEAR, "the first note is at 0"
        for bar, midi in ((0, 52), (1, 62)):
            at = (2 * bar + 0.5) * 100 / speed
            piece = samples[int(at * rate) : int((at + 0.4 * 100 / speed) * rate)]
            assert abs(_cents(piece, rate, midi)) < 12, (speed, midi)
        second = 2 * 100 / speed  # the second bar begins
        around = samples[int((second - 0.1) * rate) : int((second + 0.1) * rate)]
        jump = np.abs(np.diff(np.convolve(around**2, np.ones(64), "same"))).argmax() / rate - 0.1
        assert abs(jump) < NEAR, speed


def _cents(piece: Any, rate: int, midi: int) -> float:
    """How far the pitch of a piece is from a MIDI note, by the peak of its autocorrelation."""
    wanted = rate / (440 * 2 ** ((midi - 69) / 12))
    spectrum = np.abs(np.fft.rfft(piece, 4 * len(piece))) ** 2
    like = np.fft.irfft(spectrum)[: int(3 * wanted)]
    low = int(0.8 * wanted)
    peak = low + int(np.argmax(like[low : int(1.25 * wanted)]))
    a, b, c = like[peak - 1 : peak + 2]
    period = peak + 0.5 * (a - c) / (a - 2 * b + c)
    return float(1200 * log2(wanted / period))


def test_it_pauses_goes_on_and_loops_a_part_with_count_in_click_and_answer(
    browser: Any, files: dict[str, Path]
) -> None:
    with Opened(browser, files["sounded"]) as one:
        one.page.click("#play")
        one.status("Counting in.")
        one.status("Playing.")
        one.page.wait_for_timeout(1000)
        one.page.click("#play")
        one.status("Paused.")
        assert one.page.inner_text("#play") == "Play"
        offset = one.starts()[-1]["offset"]
        one.page.uncheck("#count-in")
        one.page.click("#play")
        one.status("Playing.")
        again = one.starts()[-1]["offset"]
        assert offset == 0 and 0.6 < again < 2.5, "it goes on where it was"
        one.page.click("#play")
        one.page.select_option("#from", index=1)
        one.page.check("#again")
        one.page.check("#answer")
        one.page.check("#click")
        ticks = one.page.evaluate("window.ticks.length")
        one.page.click("#play")
        one.status("Your turn.")
        one.status("Playing.")
        starts = one.starts()[-2:]
        assert [round(start["offset"], 3) for start in starts] == [2.5, 2.5], "bar 2"
        assert abs(starts[1]["when"] - starts[0]["when"] - 5) < 0.001, "as long a silence as the bar, to answer in"
        assert one.page.evaluate("window.ticks.length") - ticks >= 8
        outside = one.page.evaluate("document.querySelectorAll('#music .outside').length")
        assert outside > 0
        assert not one.wrong


def test_bends_move_the_finger_on_the_neck(browser: Any, files: dict[str, Path]) -> None:
    with Opened(browser, files["sung"]) as one:
        one.page.uncheck("#count-in")
        one.page.select_option("#from", index=2)
        one.page.click("#play")
        one.status("Playing.")
        one.status("Ready.")
        moved = {place for frame in one.frames() for string, place in frame["fingers"] if string == "2"}
        heights = [float(place.rstrip(")").split(" ")[1]) for place in moved]
    assert min(heights) == 0 and max(heights) > 15, "a whole step across, and back"
    with Opened(browser, files["sung"], reduced_motion="reduce") as one:
        one.page.uncheck("#count-in")
        one.page.select_option("#from", index=2)
        one.page.click("#play")
        one.status("Playing.")
        one.status("Ready.")
        frames = one.frames()
    assert len({place for frame in frames for string, place in frame["fingers"] if string == "2"}) == 1
    assert len({frame["line"] for frame in frames if frame["turn"] == "music" and frame["line"]}) <= 8, (
        "it steps from instant to instant"
    )


def test_without_sound_all_else_goes_on(browser: Any, files: dict[str, Path]) -> None:
    broken = (
        "delete window.AudioContext; delete window.webkitAudioContext;",
        "window.AudioContext = class { constructor() { throw new Error('no device'); } };",
        "AudioContext.prototype.createBuffer = () => { throw new Error('no memory'); };",
        "AudioContext.prototype.decodeAudioData = () => Promise.reject(new Error('no MP3'));",
    )
    with ExitStack() as windows:
        opened = [windows.enter_context(Opened(browser, files["sounded"], before=script)) for script in broken]
        for one, script in zip(opened, broken, strict=True):
            one.page.uncheck("#count-in")
            one.page.click("#play")
            one.status("Playing.")
            one.page.wait_for_function("() => document.querySelectorAll('#music .lit').length > 0")
            first = one.page.get_attribute("#music svg.broad .now", "transform")
            one.page.wait_for_function(
                "first => document.querySelector('#music svg.broad .now').getAttribute('transform') !== first",
                arg=first,
            )
            assert one.page.inner_text("#status") == "Playing.", script
        for one, script in zip(opened, broken, strict=True):
            one.status("Ready.")
            assert not one.wrong, script


# --- another browser


def test_it_plays_in_firefox_too(playwright: Any, files: dict[str, Path]) -> None:
    with firefox(playwright) as browser, Opened(browser, files["sounded"]) as one:
        one.page.uncheck("#count-in")
        one.page.click("#play")
        one.status("Playing.")
        one.status("Ready.", 60_000)
        lit = {event for frame in one.frames() for event in frame["lit"]}
        assert lit == {n for n, *_ in _expected(100)}
        one.page.focus("#music")
        one.page.keyboard.press("Shift+ArrowLeft")
        assert one.page.evaluate("[...document.querySelectorAll('select')].map((s) => s.value)") == ["0", "0"]
        assert [url for url in one.requests if not url.startswith("data:")] == [files["sounded"].as_uri()]
        assert not one.wrong
