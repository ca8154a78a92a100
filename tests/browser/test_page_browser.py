"""The lesson page in a real browser: it can be used by keyboard, by touch and by a screen reader, and sends nothing anywhere."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from browsing import Opened, violations

from lickwright.cli import main
from pages import LICK

pytestmark = pytest.mark.slow


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


def _ticked_when_reloaded(page: Any) -> list[bool]:
    """Return which boxes are ticked after a reload. Chromium hands what a page keeps to another process, which may know of it a moment later."""
    for _ in range(10):
        page.reload()
        ticked: list[bool] = page.eval_on_selector_all(".tick", "boxes => boxes.map((box) => box.checked)")
        if any(ticked):
            break
    return ticked


def test_ladder_and_ticks(browser: Any, files: dict[str, Path]) -> None:
    with Opened(browser, files["plain"]) as one:
        one.page.click(".rung >> nth=0")
        assert one.page.get_attribute(".rung >> nth=0", "aria-pressed") == "true"
        assert one.page.inner_text("#speed-said").endswith(", 58 bpm")
        one.page.check(".tick >> nth=0")
        assert _ticked_when_reloaded(one.page)[0]


def test_nothing_leaves_the_file_and_nothing_runs_that_is_not_its_own(browser: Any, files: dict[str, Path]) -> None:
    with ExitStack() as windows:
        opened = {name: windows.enter_context(Opened(browser, path)) for name, path in files.items()}
        for one in opened.values():
            one.page.click("#play")  # they count in together
        for name, one in opened.items():
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
    browser: Any, files: dict[str, Path], axe: str, width: int, scheme: str
) -> None:
    with Opened(
        browser, files["sounded"], viewport={"width": width, "height": 800}, color_scheme=scheme, bypass_csp=True
    ) as one:
        for summary in one.page.query_selector_all("summary"):
            summary.click()
        assert violations(one.page, axe) == []
        one.page.uncheck("#count-in")
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
    browser: Any, library: Path, axe: str, name: str, width: int, scheme: str
) -> None:
    with Opened(
        browser, library / name, viewport={"width": width, "height": 800}, color_scheme=scheme, bypass_csp=True
    ) as one:
        assert violations(one.page, axe) == []
        assert one.page.evaluate("document.documentElement.scrollWidth") == width
        assert not one.wrong


def test_ticks_of_an_assignment_stay_and_its_links_lead_to_the_pages(browser: Any, library: Path) -> None:
    with Opened(browser, library / "mara" / "assignment.html") as one:
        one.page.check(".tick >> nth=3")
        assert _ticked_when_reloaded(one.page)[:5] == [False, False, False, True, False]
        one.page.click("text=Window seat")
        assert one.page.inner_text("h1") == "Window seat"
        assert not one.wrong
