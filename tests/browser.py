"""A headless Chromium, driven over a pipe: opens a page from disk, at any width, and tells what happened on it."""

from __future__ import annotations

import base64
import contextlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
WHY_NOT = f"needs Chromium at {CHROMIUM}, which is not there"
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--remote-debugging-pipe",
)
PATIENCE_S = 60.0
DRAWN = "document.documentElement?.dataset.drawn !== undefined && document.readyState === 'complete'"
# Keys that are no letters, with the codes that browsers know them by, and the text that they type.
KEYS = {
    "Tab": (9, ""),
    "Enter": (13, "\r"),
    "Escape": (27, ""),
    "Space": (32, " "),
    "ArrowUp": (38, ""),
    "ArrowRight": (39, ""),
    "ArrowDown": (40, ""),
}
SHIFT = 8
# Where the middle of an element is, once it was scrolled into view; null where something else lies over it.
MIDDLE = """(() => {
  const each = document.querySelector(%s);
  each.scrollIntoView({ block: "nearest" });
  const box = each.getBoundingClientRect(), at = [box.x + box.width / 2, box.y + box.height / 2];
  return each.contains(document.elementFromPoint(...at)) ? at : null;
})()"""
# The ends of the pipes must be the browser's file descriptors 3 and 4.
AS_3_AND_4 = """
import fcntl, os, sys
inward, outward = (fcntl.fcntl(int(end), fcntl.F_DUPFD, 10) for end in sys.argv[1:3])
os.dup2(inward, 3)
os.dup2(outward, 4)
os.execv(sys.argv[3], sys.argv[3:])
"""


def there() -> bool:
    """Is there a Chromium to drive?"""
    return Path(CHROMIUM).exists()


@dataclass
class Browser:
    """One tab. `log` holds errors and warnings of the console and of the policy, `requests` every address asked for."""

    to: int
    back: int
    session: str = ""
    said: int = 0
    rest: bytes = b""
    log: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)
    loaded: bool = False

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """Asks the browser for something and gives its answer."""
        self.said += 1
        message = {"id": self.said, "method": method, "params": params}
        if self.session:
            message["sessionId"] = self.session
        os.write(self.to, json.dumps(message).encode() + b"\0")
        until = time.monotonic() + PATIENCE_S
        while time.monotonic() < until:
            answer = self._next()
            if answer.get("id") == self.said:
                assert "error" not in answer, answer
                result: dict[str, Any] = answer["result"]
                return result
            self._note(answer)
        raise TimeoutError(method)

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self.rest:
            more = os.read(self.back, 1 << 20)
            assert more, "the browser is gone"
            self.rest += more
        line, self.rest = self.rest.split(b"\0", 1)
        heard: dict[str, Any] = json.loads(line)
        return heard

    def _note(self, event: dict[str, Any]) -> None:
        method, params = event.get("method"), event.get("params", {})
        if method == "Runtime.exceptionThrown":
            self.log.append(json.dumps(params["exceptionDetails"]))
        elif method == "Runtime.consoleAPICalled" and params["type"] in ("error", "warning", "assert"):
            self.log.append(json.dumps(params["args"]))
        elif method == "Log.entryAdded" and params["entry"]["level"] in ("error", "warning"):
            self.log.append(params["entry"]["text"])
        elif method == "Network.requestWillBeSent":
            self.requests.append(params["request"]["url"])
        elif method == "Page.loadEventFired":
            self.loaded = True

    def open(self, page: Path | str, width: int = 1280, height: int = 900, until: str = DRAWN) -> None:
        """Opens a page from disk (or an address) and waits until it says that it is drawn."""
        self.log.clear()
        self.requests.clear()
        self.widen(width, height)
        self.call("Page.navigate", url=page.as_uri() if isinstance(page, Path) else page)
        self.wait(until)

    def widen(self, width: int, height: int = 900) -> None:
        """Makes the window so many CSS pixels wide, and waits until it was painted so."""
        self.call(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=width < 600
        )
        self.evaluate("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")

    def wait(self, condition: str) -> None:
        """Waits until an expression holds."""
        until = time.monotonic() + PATIENCE_S
        while not self.evaluate(condition):
            assert time.monotonic() < until, f"never came true: {condition}; {self.log}"
            time.sleep(0.02)

    def evaluate(self, expression: str) -> Any:
        """What does an expression give on the page?"""
        done = self.call("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in done, done
        return done["result"].get("value")

    def tap(self, selector: str) -> None:
        """Presses on an element with the pointer, where it is seen."""
        spot = self.evaluate(MIDDLE % json.dumps(selector))
        assert spot, f"something lies over {selector}"
        for kind in ("mousePressed", "mouseReleased"):
            self.call("Input.dispatchMouseEvent", type=kind, x=spot[0], y=spot[1], button="left", clickCount=1)

    def touch(self, selector: str) -> None:
        """Touches an element with a finger, where it is seen, and lifts it."""
        spot = self.evaluate(MIDDLE % json.dumps(selector))
        assert spot, f"something lies over {selector}"
        self.call("Emulation.setTouchEmulationEnabled", enabled=True)
        self.call("Input.dispatchTouchEvent", type="touchStart", touchPoints=[{"x": spot[0], "y": spot[1]}])
        self.call("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])
        self.call("Emulation.setTouchEmulationEnabled", enabled=False)

    def key(self, name: str, shift: bool = False) -> None:
        """Presses a key of the keyboard, wherever the focus is."""
        code, text = KEYS.get(name, (ord(name[0].upper()), name))
        key = {"key": " " if name == "Space" else name, "windowsVirtualKeyCode": code, "modifiers": SHIFT * shift}
        self.call("Input.dispatchKeyEvent", type="keyDown", **key, **({"text": text} if text else {}))
        self.call("Input.dispatchKeyEvent", type="keyUp", **key)

    def type(self, text: str) -> None:
        """Types a text, key by key, as a keyboard or a barcode scanner does."""
        for letter in text:
            self.key(letter)

    def keep_downloads(self, folder: Path) -> None:
        """Lets the browser write what it downloads into a folder."""
        self.call("Browser.setDownloadBehavior", behavior="allow", downloadPath=str(folder))

    def dark(self, wanted: bool) -> None:
        """Lets the reader prefer the dark scheme, or the light one."""
        scheme = {"name": "prefers-color-scheme", "value": "dark" if wanted else "light"}
        self.call("Emulation.setEmulatedMedia", features=[scheme])

    def picture(self, to: Path, whole: bool = True) -> None:
        """Writes a picture (PNG) of the whole page, or of what the window shows."""
        shot = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
        to.write_bytes(base64.b64decode(shot["data"]))

    def print(self, to: Path, **paper: float) -> None:
        """Prints the page as a PDF, as its own style says, or on paper of a size (paperWidth, paperHeight: inches)."""
        done = self.call("Page.printToPDF", preferCSSPageSize=not paper, printBackground=False, **paper)
        to.write_bytes(base64.b64decode(done["data"]))


@contextlib.contextmanager
def chromium(profile: Path | None = None, *more: str) -> Iterator[Browser]:
    """A browser of its own, ended at the end, with that profile, or an empty one that is thrown away; `more` flags."""
    from_us, to = os.pipe()
    back, from_it = os.pipe()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as empty:
        start = [sys.executable, "-c", AS_3_AND_4, str(from_us), str(from_it)]
        child = subprocess.Popen(
            [*start, CHROMIUM, *FLAGS, *more, f"--user-data-dir={profile or empty}", "about:blank"],
            pass_fds=(from_us, from_it),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(from_us)
        os.close(from_it)
        try:
            yield _tab(Browser(to, back))
        finally:
            child.terminate()
            child.wait(timeout=PATIENCE_S)
            os.close(to)
            os.close(back)


def _tab(browser: Browser) -> Browser:
    target = browser.call("Target.createTarget", url="about:blank")["targetId"]
    browser.session = browser.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
    for domain in ("Page", "Runtime", "Log", "Network"):
        browser.call(f"{domain}.enable")
    return browser
