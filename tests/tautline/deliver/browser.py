"""A headless browser driven over a pipe, with the network off: enough to use a page as a person would."""

from __future__ import annotations

import contextlib
import json
import os
import select
import shutil
import subprocess
import sys
import tempfile
import time

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--remote-debugging-pipe",
)


# The browser reads 3 and writes 4. Ours are moved up first, since they may be these two the other way round.
WIRE = """
import os, sys
reads, writes = (os.dup(os.dup(int(fd))) for fd in sys.argv[1:3])
os.dup2(reads, 3)
os.dup2(writes, 4)
os.execv(sys.argv[3], sys.argv[3:])
"""


def find():
    """The browser's program, or None."""
    return shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")


class Browser:
    """One page. ``problems`` collects console errors, exceptions and every request that is not a local file."""

    def __init__(self, width=1280, height=900):
        self.profile = tempfile.TemporaryDirectory(prefix="page-", ignore_cleanup_errors=True)
        to_browser, self._out = os.pipe()
        self._in, from_browser = os.pipe()

        command = [find(), *FLAGS, f"--user-data-dir={self.profile.name}", f"--window-size={width},{height}"]
        self.process = subprocess.Popen(
            [sys.executable, "-c", WIRE, str(to_browser), str(from_browser), *command],
            pass_fds=(to_browser, from_browser),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(to_browser)
        os.close(from_browser)
        self._buffer, self._next, self.problems = b"", 0, []
        target = self.call("Target.createTarget", {"url": "about:blank"}, session=None)["targetId"]
        attach = {"targetId": target, "flatten": True}
        self.session = self.call("Target.attachToTarget", attach, session=None)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")
        off = {"offline": True, "latency": 0, "downloadThroughput": 0, "uploadThroughput": 0}
        self.call("Network.emulateNetworkConditions", off)

    def close(self):
        with contextlib.suppress(Exception):
            self.call("Browser.close", session=None)
        with contextlib.suppress(OSError):
            os.close(self._out)
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        os.close(self._in)
        self.profile.cleanup()

    def call(self, method, params=None, session="own", timeout=60.0):
        self._next += 1
        message = {"id": self._next, "method": method, "params": params or {}}
        if session is not None:
            message["sessionId"] = self.session
        os.write(self._out, json.dumps(message).encode() + b"\0")
        end = time.monotonic() + timeout
        while True:
            answer = self._receive(end)
            if answer.get("id") == self._next:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                return answer["result"]

    def _receive(self, end):
        while b"\0" not in self._buffer:
            left = end - time.monotonic()
            if left <= 0 or not select.select([self._in], [], [], left)[0]:
                raise TimeoutError("the browser does not answer")
            chunk = os.read(self._in, 1 << 20)
            if not chunk:
                raise RuntimeError("the browser has gone")
            self._buffer += chunk
        raw, _, self._buffer = self._buffer.partition(b"\0")
        answer = json.loads(raw)
        self._note(answer.get("method"), answer.get("params", {}))
        return answer

    def _note(self, method, params):
        if method == "Runtime.exceptionThrown":
            self.problems.append(
                params["exceptionDetails"].get("exception", {}).get("description", str(params))
            )
        elif method == "Log.entryAdded" and params["entry"]["level"] == "error":
            self.problems.append(params["entry"]["text"])
        elif method == "Runtime.consoleAPICalled" and params["type"] in ("error", "assert"):
            self.problems.append(str(params["args"]))
        elif method == "Network.requestWillBeSent":
            url = params["request"]["url"]
            if not url.startswith(("file:", "data:", "about:")):
                self.problems.append(f"request for {url}")

    def open(self, path):
        """Open a local file and wait until its own script says that it is ready."""
        self.call("Page.navigate", {"url": path.as_uri()})
        end = time.monotonic() + 30
        while self.run("document.documentElement?.dataset.ready") != "1":
            if time.monotonic() > end:
                raise TimeoutError(f"the page is not ready: {self.problems}")
            time.sleep(0.02)

    def run(self, script):
        """The value of a JavaScript expression."""
        answer = self.call(
            "Runtime.evaluate", {"expression": script, "returnByValue": True, "awaitPromise": True}
        )
        if "exceptionDetails" in answer:
            raise RuntimeError(answer["exceptionDetails"]["exception"]["description"])
        return answer["result"].get("value")

    def click(self, selector):
        """Press the mouse on the middle of an element, as a person does."""
        place = self.run(
            f"(() => {{ const e = document.querySelector({json.dumps(selector)});"
            "e.scrollIntoView({block: 'center', behavior: 'instant'}); const r = e.getBoundingClientRect();"
            "return [r.left + r.width / 2, r.top + r.height / 2]; })()"
        )
        for kind in ("mousePressed", "mouseReleased"):
            self.mouse(kind, *place)

    def mouse(self, kind, x, y):
        pressed = {"button": "left", "clickCount": 1} if kind != "mouseMoved" else {}
        self.call("Input.dispatchMouseEvent", {"type": kind, "x": x, "y": y, **pressed})

    def picture(self, path):
        """Write what is seen to a PNG file."""
        import base64

        path.write_bytes(base64.b64decode(self.call("Page.captureScreenshot")["data"]))
