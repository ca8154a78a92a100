"""The lesson page in a real browser: it plays, and what is lit is what the timing sheet says; it can be used by keyboard alone and by a screen reader."""

from __future__ import annotations

from collections.abc import Iterator
from math import log2
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from browsing import Opened, axe_core, chromium, driver, firefox, violations
from lickwright.cli import main
from lickwright.export import Options
from lickwright.export.timing import NOTE
from pages import LICK, lick_of, page_of

pytestmark = pytest.mark.slow

NEAR = 0.03  # seconds that the page may be off the timing sheet
SUNG = """lick "Long tones"
key A minor
box 1
tempo 120
tags <script>alert(1)</script>
note <img src=x onerror=alert(1)>
| A7---- - - - | G7---- - - - | B8^10--- -r--- |
"""


@pytest.fixture(scope="module")
def playwright() -> Iterator[Any]:
    with driver() as running:
        yield running


@pytest.fixture(scope="module")
def browser(playwright: Any) -> Iterator[Any]:
    with chromium(playwright) as running:
        yield running


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    pages = {
        "sounded": page_of(lick_of(), sound=True),
        "plain": page_of(lick_of()),
        "sung": page_of(lick_of(SUNG), sound=True),
        "four": page_of(lick_of('lick "Four bars"\n' + 4 * "| e8 e5 B8 e5 G7 G5 D7 D5 " + "||\n")),
    }
    for name, text in pages.items():
        (folder / f"{name}.html").write_text(text, "utf-8")
    return {name: folder / f"{name}.html" for name in pages}


def _expected(speed: int) -> list[tuple[int, float, float, int, object]]:
    """Event, start and end in seconds of the run, string, fret of each note, from the timing sheet."""
    share = 60 if speed <= 75 else 100
    from fractions import Fraction

    lick = lick_of()
    rows = [row for row in lick.timing(Options(tempo_percent=Fraction(share))) if row.event == NOTE]
    factor = share / speed
    return [(n, row.at_s * factor, (row.at_s + row.for_s) * factor, row.string, row.fret) for n, row in enumerate(rows)]


@pytest.mark.parametrize(
    ("name", "speed"), [("sounded", 100), ("sounded", 50), ("sounded", 110), ("plain", 100), ("plain", 70)]
)
def test_what_is_lit_is_what_the_timing_sheet_says(browser: Any, files: dict[str, Path], name: str, speed: int) -> None:
    with Opened(browser, files[name]) as one:
        if speed != 100:
            one.set_speed(speed)
        one.page.uncheck("#count-in")
        one.page.click("#play")
        one.status("Playing.")
        one.status("Ready.", 60_000)
        (start,) = one.starts()
        seen = [frame for frame in one.frames() if frame["turn"] == "music"]
        assert not one.wrong
    notes = _expected(speed)
    if name == "plain" and speed <= 75:
        notes = [(n, at * 100 / speed, end * 100 / speed, s, f) for n, at, end, s, f in _expected(100)]
    assert len(seen) > 20
    lit_once = set()
    for before, frame in zip(seen, seen[1:], strict=False):
        low, high = before["at"] - start["when"] - NEAR, frame["at"] - start["when"] + NEAR
        sure = {n for n, at, end, *_ in notes if at < low and end > high}
        possible = {n for n, at, end, *_ in notes if at < high and end > low}
        assert sure <= set(frame["lit"]) <= possible, (low, high, frame["lit"])
        places = {f"{string}-{fret}" for n, _, _, string, fret in notes if n in sure}
        assert places <= set(frame["places"])
        lit_once |= set(frame["lit"])
    assert lit_once == {n for n, *_ in notes}


def test_the_line_is_on_each_note_when_it_sounds(browser: Any, files: dict[str, Path]) -> None:
    with Opened(browser, files["sounded"]) as one:
        one.set_speed(40)
        one.page.uncheck("#count-in")
        one.page.click("#play")
        one.status("Playing.")
        one.status("Ready.", 60_000)
        (start,) = one.starts()
        seen = [frame for frame in one.frames() if frame["turn"] == "music" and frame["line"]]
        middles = one.page.evaluate(
            """() => { const svg = [...document.querySelectorAll('#music svg')].find((s) => s.getClientRects().length);
            const width = svg.viewBox.baseVal.width / svg.getBoundingClientRect().width, left = svg.getBoundingClientRect().left;
            return [...svg.querySelectorAll('[data-event]')].map((g) => { const box = g.getBoundingClientRect();
            return [Number(g.dataset.event), (box.left + box.width / 2 - left) * width, box.width * width]; }); }"""
        )
    drawn = {}
    for event, x, width in middles:
        if event not in drawn and width < 20:
            drawn[event] = x
    lines = [(frame["at"] - start["when"], float(frame["line"].split("(")[1].split(" ")[0])) for frame in seen]
    for event, at, *_ in _expected(40):
        near = [x for t, x in lines if abs(t - at) < NEAR]
        if near and event in drawn:
            assert min(abs(x - drawn[event]) for x in near) < 6, (event, at, near, drawn[event])


def test_the_recording_sounds_when_the_sheet_says_at_true_pitch_at_every_speed(
    browser: Any, files: dict[str, Path]
) -> None:
    for speed in (40, 55, 60, 80, 100, 110):
        with Opened(browser, files["sung"]) as one:
            one.set_speed(speed)
            one.page.uncheck("#count-in")
            one.page.click("#play")
            one.status("Playing.")
            samples, rate = one.samples()
            assert not one.wrong
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


def test_keyboard_alone(browser: Any, files: dict[str, Path]) -> None:
    with Opened(browser, files["sounded"]) as one:
        reached = []
        for _ in range(40):
            one.page.keyboard.press("Tab")
            reached.append(
                one.page.evaluate(
                    "(document.activeElement.id || document.activeElement.className || document.activeElement.tagName)"
                )
            )
        for wanted in (
            "play",
            "music",
            "speed",
            "from",
            "to",
            "again",
            "count-in",
            "click",
            "answer",
            "rung",
            "tick",
            "SUMMARY",
            "A",
        ):
            assert wanted in reached, wanted
        one.page.focus("#music")
        one.page.keyboard.press("ArrowRight")
        one.page.keyboard.press("Shift+ArrowLeft")
        assert one.page.evaluate("[...document.querySelectorAll('select')].map((s) => s.value)") == ["0", "0"]
        one.page.keyboard.press("Escape")
        assert one.page.evaluate("[...document.querySelectorAll('select')].map((s) => s.value)") == ["0", "1"]
        one.page.keyboard.press(" ")
        one.status("Playing.")
        one.page.keyboard.press(" ")
        one.status("Paused.")
        one.page.focus("#play")
        for key in "abcdefghijklmnopqrstuvwxyz0123456789":
            one.page.keyboard.press(key)
        assert one.page.inner_text("#status") == "Paused.", "no letter is a shortcut"
        one.page.focus("#speed")
        one.page.keyboard.press("ArrowLeft")
        assert one.page.evaluate("Number(document.getElementById('speed').value)") < 100


def test_a_drag_over_bars_chooses_them(browser: Any, files: dict[str, Path]) -> None:
    with Opened(browser, files["sounded"]) as one:
        box = one.page.locator("#music svg:visible").bounding_box()
        middle = box["y"] + box["height"] * 0.5
        one.page.mouse.move(box["x"] + box["width"] * 0.95, middle)
        one.page.mouse.down()
        one.page.mouse.move(box["x"] + box["width"] * 0.15, middle, steps=4)
        one.page.mouse.up()
        assert one.page.evaluate("[...document.querySelectorAll('select')].map((s) => s.value)") == ["0", "1"]


def test_a_swipe_over_bars_chooses_them_and_a_scroll_does_not(browser: Any, files: dict[str, Path]) -> None:
    """By a finger on a phone, where a line has few bars."""
    phone = {"viewport": {"width": 360, "height": 640}, "has_touch": True, "is_mobile": True}
    chosen = "[...document.querySelectorAll('select')].map((s) => s.value)"
    with Opened(browser, files["four"], **phone) as one:
        assert one.page.is_visible(".by-touch") and not one.page.is_visible(".by-mouse")
        one.page.locator("#music").scroll_into_view_if_needed()
        finger = Finger(one)
        systems = one.page.locator('#music svg:visible [data-role="system"]')
        assert systems.count() > 1
        top, below = systems.nth(1).bounding_box(), systems.nth(2).bounding_box()  # the player covers the first
        x, y = top["x"] + 0.3 * top["width"], top["y"] + 0.5 * top["height"]
        finger.press(x, y)
        finger.move(x + 60, y)
        finger.move(x + 60, below["y"] + 0.5 * below["height"])
        one.page.wait_for_function("() => document.querySelectorAll('#music .outside').length > 0", timeout=5000)
        finger.lift()
        one.page.wait_for_function(f"() => {chosen}.join() !== '0,3'")
        first, last = one.page.evaluate(chosen)
        assert (first, last) == ("1", "2")
        one.page.focus("#music")
        one.page.keyboard.press("Escape")
        before = one.page.evaluate("window.scrollY")
        finger.press(x, y)
        for step in range(1, 8):
            finger.move(x, y - 25 * step)
        finger.lift()
        one.page.wait_for_function(f"() => window.scrollY > {before + 50}")
        assert one.page.evaluate(chosen) == ["0", "3"], "a finger that scrolls chooses nothing"
        assert not one.page.evaluate("document.querySelectorAll('#music .outside').length")
        assert not one.wrong


class Finger:
    """A finger on the touch screen of an opened page, by Chromium's own protocol."""

    def __init__(self, one: Opened) -> None:
        self._session = one.context.new_cdp_session(one.page)

    def _send(self, kind: str, *points: dict[str, float]) -> None:
        self._session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": list(points)})

    def press(self, x: float, y: float) -> None:
        self._send("touchStart", {"x": x, "y": y})

    def move(self, x: float, y: float) -> None:
        self._send("touchMove", {"x": x, "y": y})

    def lift(self) -> None:
        self._send("touchEnd")


def test_ladder_and_ticks(browser: Any, files: dict[str, Path]) -> None:
    with Opened(browser, files["plain"]) as one:
        one.page.click(".rung >> nth=0")
        assert one.page.get_attribute(".rung >> nth=0", "aria-pressed") == "true"
        assert one.page.inner_text("#speed-said").endswith(", 58 bpm")
        one.page.check(".tick >> nth=0")
        one.page.reload()
        assert one.page.is_checked(".tick >> nth=0")


def test_nothing_leaves_the_file_and_nothing_runs_that_is_not_its_own(browser: Any, files: dict[str, Path]) -> None:
    for name in files:
        with Opened(browser, files[name]) as one:
            one.page.click("#play")
            one.status("Playing.")
            assert not one.wrong
            assert [url for url in one.requests if not url.startswith("data:")] == [files[name].as_uri()]
            blocked = one.page.evaluate(
                """() => new Promise((resolve) => { document.addEventListener('securitypolicyviolation', (e) => resolve(e.effectiveDirective));
                const script = document.createElement('script'); script.textContent = 'window.broken = 1'; document.body.append(script); })"""
            )
            assert blocked == "script-src-elem"
            assert one.page.evaluate("window.broken") is None


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_no_violation_of_accessibility_and_no_scrolling_sideways(
    browser: Any, files: dict[str, Path], tmp_path_factory: pytest.TempPathFactory, width: int, scheme: str
) -> None:
    axe = axe_core(tmp_path_factory.mktemp("axe"))
    with Opened(
        browser, files["sounded"], viewport={"width": width, "height": 800}, color_scheme=scheme, bypass_csp=True
    ) as one:
        for summary in one.page.query_selector_all("summary"):
            summary.click()
        assert violations(one.page, axe) == []
        one.page.click("#play")
        one.status("Playing.")
        assert violations(one.page, axe) == []
        assert one.page.evaluate("document.documentElement.scrollWidth") == width
        small = one.page.evaluate(
            """[...document.querySelectorAll('button, select, input, a, summary')].map((e) => e.getBoundingClientRect())
            .filter((b) => b.width && (b.height < 20 || b.width < 20)).length"""
        )
        assert small == 0


def test_the_music_reflows_and_does_not_shrink(browser: Any, files: dict[str, Path]) -> None:
    sizes, systems = [], []
    for width in (360, 700, 1280):
        with Opened(browser, files["plain"], viewport={"width": width, "height": 800}) as one:
            sizes.append(
                one.page.evaluate(
                    """() => { const svg = [...document.querySelectorAll('#music svg')].find((s) => s.getClientRects().length);
                    return svg.querySelector('[data-event] text').getBoundingClientRect().height; }"""
                )
            )
            systems.append(one.page.locator('#music svg:visible [data-role="system"]').count())
    assert min(sizes) > 0.9 * max(sizes)
    assert systems[0] > systems[-1]


def test_it_prints(browser: Any, files: dict[str, Path]) -> None:
    with Opened(browser, files["plain"]) as one:
        one.page.emulate_media(media="print")
        assert one.page.is_visible("h1") and one.page.is_visible("#music svg.broad")
        assert not one.page.is_visible("#play")
        assert one.page.pdf(format="A4").startswith(b"%PDF")


# --- the index page and the assignment


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("library")
    (folder / "book.lick").write_text(
        LICK
        + 'lick "Échelle"\nkey A minor\nlevel 3\nbox 2\nchords Am7\n| e8 e10 B8 B10 G7 G9 D7 D10 |\nlick "Gate"\nkey C major\n| e8 e5 B8 e5 G7 - - - |\n'
    )
    assert main(["make", str(folder / "book.lick"), "--to", "page", "--silent-page", "--out", str(folder / "out")]) == 0
    assert main(["assign", "Mara", str(folder / "book.lick"), "--silent-page", "--out", str(folder / "mara")]) == 0
    return folder


def _titles(page: Any) -> list[str]:
    return [one.inner_text() for one in page.query_selector_all("#licks li:not([hidden]) a")]


def test_the_index_finds_licks_and_leads_to_them(browser: Any, library: Path) -> None:
    with Opened(browser, library / "out" / "index.html") as one:
        assert _titles(one.page) == ["Gate", "Window seat", "Échelle"]
        one.page.keyboard.press("Tab")
        one.page.keyboard.type("echelle")
        assert _titles(one.page) == ["Échelle"]
        assert one.page.inner_text("#found") == "1 lick of 3"
        one.page.keyboard.press("Enter")
        assert _titles(one.page) == ["Échelle"], "the form goes nowhere"
        one.page.click("text=Show all")
        one.page.wait_for_function("() => document.getElementById('found').textContent === '3 licks'")
        one.page.fill("#words", "SLOW bend")
        assert _titles(one.page) == ["Window seat"]
        one.page.fill("#words", "")
        one.page.select_option("#by-key", "A minor")
        assert _titles(one.page) == ["Window seat", "Échelle"]
        one.page.select_option("#by-box", "2")
        assert _titles(one.page) == ["Échelle"]
        one.page.fill("#words", "nothing at all")
        assert one.page.inner_text("#found") == "0 licks of 3"
        one.page.click("text=Show all")
        one.page.wait_for_function("() => document.getElementById('found').textContent === '3 licks'")
        one.page.click("text=Window seat")
        assert one.page.inner_text("h1") == "Window seat"
        one.page.click("text=All licks")
        assert one.page.inner_text("h1") == "Licks", "a page leads back to the index that led to it"
        (page,) = (library / "out").rglob("window-seat.html")
        for end in ("", "#up-x", "#up-1/../..", "#up-javascript:alert(1)", "#up-100"):
            one.page.goto("about:blank")
            one.page.goto(page.as_uri() + end)
            assert not one.page.is_visible("text=All licks"), end
        assert not one.wrong
        assert all(url.startswith(("file:", "about:")) for url in one.requests)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("name", ["out/index.html", "mara/assignment.html"])
def test_index_and_assignment_have_no_violation_of_accessibility(
    browser: Any, library: Path, tmp_path_factory: pytest.TempPathFactory, name: str, width: int, scheme: str
) -> None:
    axe = axe_core(tmp_path_factory.mktemp("axe"))
    with Opened(
        browser, library / name, viewport={"width": width, "height": 800}, color_scheme=scheme, bypass_csp=True
    ) as one:
        assert violations(one.page, axe) == []
        assert one.page.evaluate("document.documentElement.scrollWidth") == width
        assert not one.wrong


def test_ticks_of_an_assignment_stay_and_its_links_lead_to_the_pages(browser: Any, library: Path) -> None:
    with Opened(browser, library / "mara" / "assignment.html") as one:
        one.page.check(".tick >> nth=3")
        one.page.reload()
        assert [one.page.is_checked(f".tick >> nth={n}") for n in range(5)] == [False, False, False, True, False]
        one.page.click("text=Window seat")
        assert one.page.inner_text("h1") == "Window seat"
        assert not one.wrong


@pytest.mark.parametrize(
    "broken",
    [
        "delete window.AudioContext; delete window.webkitAudioContext;",
        "window.AudioContext = class { constructor() { throw new Error('no device'); } };",
        "AudioContext.prototype.createBuffer = () => { throw new Error('no memory'); };",
        "AudioContext.prototype.decodeAudioData = () => Promise.reject(new Error('no MP3'));",
    ],
)
def test_without_sound_all_else_goes_on(browser: Any, files: dict[str, Path], broken: str) -> None:
    with Opened(browser, files["sounded"], before=broken) as one:
        one.page.uncheck("#count-in")
        one.page.click("#play")
        one.status("Playing.")
        one.page.wait_for_function("() => document.querySelectorAll('#music .lit').length > 0")
        first = one.page.get_attribute("#music svg.broad .now", "transform")
        one.page.wait_for_timeout(800)
        assert one.page.get_attribute("#music svg.broad .now", "transform") != first
        one.status("Ready.")
        assert not one.wrong


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
