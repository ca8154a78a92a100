"""A real browser for tests of pages: Chromium, and Firefox where it is installed, by Playwright.

What is not installed is skipped with a word, or fails where the environment says `LICKWRIGHT_CI`.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from base64 import b64decode
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest

_FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--autoplay-policy=no-user-gesture-required",
)  # fmt: skip

# Notes what the page plays and shows at every frame, in seconds of the sound device's clock as it is heard.
WATCH = """
window.starts = [];
window.frames_seen = [];
let device = null;
const heard = () => device.currentTime - (device.outputLatency || device.baseLatency || 0);
const start = AudioBufferSourceNode.prototype.start;
AudioBufferSourceNode.prototype.start = function (when, offset) {
  device = this.context;
  window.starts.push({ when, offset, buffer: this.buffer });
  return start.apply(this, arguments);
};
const tick = OscillatorNode.prototype.start;
window.ticks = [];
OscillatorNode.prototype.start = function (when) {
  device = this.context;
  window.ticks.push(when);
  return tick.apply(this, arguments);
};
const look = () => {
  if (device) {
    const svg = [...document.querySelectorAll("#music svg")].find((one) => one.getClientRects().length);
    const line = svg && svg.querySelector(".now");
    window.frames_seen.push({
      at: heard(),
      turn: document.body.dataset.turn,
      lit: [...new Set([...svg.querySelectorAll("[data-event].lit")].map((one) => Number(one.dataset.event)))],
      places: [...document.querySelectorAll(".place.lit")].map((one) => one.dataset.place),
      fingers: [...document.querySelectorAll(".finger[visibility=visible]")].map((one) => [one.dataset.string, one.getAttribute("transform")]),
      line: line && line.getAttribute("visibility") === "visible" ? line.getAttribute("transform") : null,
      count: [...document.querySelectorAll("#count .lit")].map((one) => one.textContent).join(" "),
    });
  }
  requestAnimationFrame(look);
};
requestAnimationFrame(look);
"""


def missing(what: str) -> None:
    """Skip the test for want of something; fail where everything should be installed."""
    if os.environ.get("LICKWRIGHT_CI"):
        pytest.fail(f"{what} is not installed")
    pytest.skip(f"{what} is not installed")


@contextmanager
def driver() -> Iterator[Any]:
    """What starts browsers; there can be one at a time."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright")
    with sync_playwright() as playwright:
        yield playwright


@contextmanager
def chromium(playwright: Any) -> Iterator[Any]:
    """A running browser."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        missing("chromium")
    with closing(playwright.chromium.launch(executable_path=path, args=list(_FLAGS))) as browser:
        yield browser


@contextmanager
def firefox(playwright: Any) -> Iterator[Any]:
    """A running Firefox, of Playwright's own build; skips the test where it is not installed, everywhere, since not every machine can get it."""
    if not Path(playwright.firefox.executable_path).exists():
        pytest.skip("Firefox is not installed: playwright install firefox")
    with closing(playwright.firefox.launch()) as browser:
        yield browser


class Opened:
    """A page in a window of its own, and what went wrong in it."""

    def __init__(self, browser: Any, path: Path, before: str = "", **more: Any) -> None:
        self.context = browser.new_context(**{"viewport": {"width": 1280, "height": 900}, **more})
        self.page = self.context.new_page()
        self.wrong: list[str] = []
        self.requests: list[str] = []
        self.page.on("console", lambda message: self.wrong.append(message.text))
        self.page.on("pageerror", lambda error: self.wrong.append(str(error)))
        self.page.on("dialog", lambda dialog: (self.wrong.append("a dialog"), dialog.dismiss()))
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.add_init_script(WATCH)
        if before:
            self.page.add_init_script(before)
        self.page.goto(path.as_uri())

    def __enter__(self) -> Opened:
        return self

    def __exit__(self, *_: object) -> None:
        self.context.close()

    def status(self, words: str, timeout: int = 30_000) -> None:
        """Wait until the page says so."""
        self.page.wait_for_function(
            "words => document.getElementById('status').textContent === words", arg=words, timeout=timeout
        )

    def set_speed(self, percent: int) -> None:
        self.page.evaluate(
            "value => { const s = document.getElementById('speed'); s.value = value; s.dispatchEvent(new Event('change')); }",
            percent,
        )

    def frames(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = self.page.evaluate("window.frames_seen")
        return found

    def starts(self) -> list[dict[str, float]]:
        found: list[dict[str, float]] = self.page.evaluate(
            "window.starts.map(({when, offset, buffer}) => ({when, offset, length: buffer.duration}))"
        )
        return found

    def samples(self) -> tuple[Any, int]:
        """The samples of what was played last, and how many there are a second."""
        text, rate = self.page.evaluate(
            """() => { const buffer = window.starts.at(-1).buffer; const data = new Int16Array(buffer.length);
            buffer.getChannelData(0).forEach((v, i) => { data[i] = 32767 * v; });
            let text = ''; const bytes = new Uint8Array(data.buffer);
            for (let i = 0; i < bytes.length; i += 32768) text += String.fromCharCode(...bytes.subarray(i, i + 32768));
            return [btoa(text), buffer.sampleRate]; }"""
        )
        return np.frombuffer(b64decode(text), "<i2") / 32767, rate


def axe_core(folder: Path) -> str:
    """Return the text of axe-core, from an npm package that is installed into `folder`."""
    npm = shutil.which("npm")
    if npm is None:
        missing("npm")
    command = [
        str(npm),
        "install",
        "--no-audit",
        "--no-fund",
        "--ignore-scripts",
        "--prefix",
        str(folder),
        "axe-core@4",
    ]
    made = subprocess.run(command, capture_output=True, text=True, timeout=120)
    if made.returncode:
        missing("axe-core, from npm,")
    return (folder / "node_modules" / "axe-core" / "axe.min.js").read_text("utf-8")


def violations(page: Any, axe: str) -> list[str]:
    """Return what axe-core finds wrong with a page; its context must pass by the page's own policy."""
    page.evaluate(axe)
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [f"{one['id']}: {node['html'][:90]}" for one in found["violations"] for node in one["nodes"]]
