"""A small client for headless Chromium's debugging pipe: open a page, ask it, print it."""

from __future__ import annotations

import base64
import contextlib
import itertools
import json
import os
import select
import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome",
         "headless_shell", "chromium-headless-shell")
CHROMIUM = next((path for path in map(shutil.which, NAMES) if path is not None), None)
"""The browser on this machine's path; None where there is none."""
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync",
         "--remote-debugging-pipe")


class Page:
    """One tab: what it logged, what it asked for, and what a script in it returns."""

    def __init__(self, read: int, write: int) -> None:
        self._read, self._write = read, write
        self._buffer = b""
        self._numbers = itertools.count(1)
        self.events: list[dict[str, Any]] = []
        target = self.call("Target.createTarget", {"url": "about:blank"}, session=None)
        attached = self.call("Target.attachToTarget",
                             {"targetId": target["targetId"], "flatten": True}, session=None)
        self.session: str = attached["sessionId"]
        for domain in ("Page", "Network", "Runtime", "Log"):
            self.call(f"{domain}.enable", {})

    def call(self, method: str, params: dict[str, Any], session: str | None = "own") -> Any:
        number = next(self._numbers)
        message: dict[str, Any] = {"id": number, "method": method, "params": params}
        if session is not None:
            message["sessionId"] = self.session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next(60.0)
            if answer.get("id") == number:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                return answer["result"]
            self.events.append(answer)

    def _next(self, seconds: float) -> dict[str, Any]:
        end = time.monotonic() + seconds
        while b"\0" not in self._buffer:
            ready, _, _ = select.select([self._read], [], [], max(0.0, end - time.monotonic()))
            if not ready:
                raise TimeoutError("the browser did not answer")
            part = os.read(self._read, 1 << 16)
            if not part:
                raise RuntimeError("the browser closed its pipe")
            self._buffer += part
        line, self._buffer = self._buffer.split(b"\0", 1)
        answer: dict[str, Any] = json.loads(line)
        return answer

    def open(self, path: Path, width: int) -> None:
        """Open a file in a window of this width and wait until it has loaded."""
        self.events.clear()
        self.call("Emulation.setDeviceMetricsOverride",
                  {"width": width, "height": 900, "deviceScaleFactor": 1,
                   "mobile": width < 600})
        self.call("Page.navigate", {"url": path.as_uri()})
        while not any(e.get("method") == "Page.loadEventFired" for e in self.events):
            self.events.append(self._next(60.0))

    def ask(self, script: str) -> Any:
        """Value of a script expression in the page."""
        answer = self.call("Runtime.evaluate", {"expression": script, "returnByValue": True})
        if "exceptionDetails" in answer:
            raise RuntimeError(str(answer["exceptionDetails"]))
        return answer["result"].get("value")

    def complaints(self) -> list[str]:
        """Console messages, log entries and uncaught errors since the page was opened."""
        kinds = ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded")
        return [json.dumps(e["params"]) for e in self.events if e.get("method") in kinds]

    def requests(self) -> list[str]:
        """Addresses the page asked for since it was opened."""
        return [e["params"]["request"]["url"] for e in self.events
                if e.get("method") == "Network.requestWillBeSent"]

    def print_pdf(self, width_in: float, height_in: float) -> bytes:
        """The page as it prints."""
        answer = self.call("Page.printToPDF", {
            "paperWidth": width_in, "paperHeight": height_in, "printBackground": True,
            "preferCSSPageSize": False})
        return base64.b64decode(answer["data"])

    def screenshot(self) -> bytes:
        """The whole page as PNG."""
        answer = self.call("Page.captureScreenshot", {"captureBeyondViewport": True})
        return base64.b64decode(answer["data"])


@contextlib.contextmanager
def browser(folder: Path) -> Iterator[Page]:
    """A browser with a fresh profile in `folder`, ended afterwards; RuntimeError without one."""
    if CHROMIUM is None:
        raise RuntimeError("no Chromium on the path")
    from_us, to_browser = os.pipe()
    from_browser, to_us = os.pipe()

    def pipes() -> None:
        low, high = os.dup(from_us), os.dup(to_us)
        os.dup2(low, 3)
        os.dup2(high, 4)

    process = subprocess.Popen(
        [CHROMIUM, *FLAGS, f"--user-data-dir={folder}"], preexec_fn=pipes, close_fds=False,
        stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    os.close(from_us)
    os.close(to_us)
    try:
        page = Page(from_browser, to_browser)
        yield page
        with contextlib.suppress(Exception):
            page.call("Browser.close", {}, session=None)
    finally:
        try:
            process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        os.close(to_browser)
        os.close(from_browser)
