"""A real browser for tests of pages: Chromium by Playwright.

What is not installed is skipped with a word, or fails where the environment says `LICKWRIGHT_CI`.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

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
def chromium() -> Iterator[Any]:
    """A running browser."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright")
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        missing("chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(_FLAGS))
        try:
            yield browser
        finally:
            browser.close()


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
