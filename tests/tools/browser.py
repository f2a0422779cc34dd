"""A headless browser for the tests: pages are opened, keys pressed, and its console read.

Chromium is told what to do over its debugging protocol, with `websockets`' own blocking client.
"""

import base64
import contextlib
import itertools
import json
import shutil
import subprocess
import time
import urllib.request

from websockets.sync.client import connect

PATIENCE_S = 20.0
LOOK_AGAIN_S = 0.02
FLAGS = (
    "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --hide-scrollbars "
    "--disable-background-networking --disable-component-update --disable-sync "
    "--disable-extensions --remote-debugging-port=0"
).split()
# Names, codes and texts of keys, as the protocol wants them.
KEYS = {
    "Tab": ("Tab", 9, None),
    "Enter": ("Enter", 13, "\r"),
    " ": ("Space", 32, " "),
    "ArrowLeft": ("ArrowLeft", 37, None),
    "ArrowRight": ("ArrowRight", 39, None),
    "ArrowDown": ("ArrowDown", 40, None),
}


def _letter(name):
    return f"Key{name.upper()}", ord(name.upper()), name


def is_there():
    return shutil.which("chromium") is not None


class Browser:
    """One browser with a profile of its own."""

    def __init__(self, folder):
        self._process = subprocess.Popen(
            ["chromium", *FLAGS, f"--user-data-dir={folder}", "about:blank"],
            stderr=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            text=True,
        )
        for line in self._process.stderr:
            if "DevTools listening on" in line:
                self._address = line.split("ws://")[1].split("/")[0]
                break

    def page(self, width=1366, height=768, **about):
        return Page(self._address, width, height, **about)

    def close(self):
        self._process.terminate()
        self._process.wait(10)
        self._process.stderr.close()


class Page:
    """One tab."""

    def __init__(self, address, width, height, mobile=False):
        asked = urllib.request.Request(f"http://{address}/json/new?about:blank", method="PUT")
        with urllib.request.urlopen(asked) as answer:
            told = json.load(answer)
        self._held = contextlib.ExitStack()
        self._socket = self._held.enter_context(
            connect(told["webSocketDebuggerUrl"], max_size=None, ping_interval=None)
        )
        self._numbers = itertools.count(1)
        self.complaints, self.answers = [], {}
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.do(f"{domain}.enable")
        self.size(width, height, mobile=mobile)

    def close(self):
        self.do("Page.close")
        self._held.close()

    def do(self, method, **params):
        """Send a command; return its result, noting what happens meanwhile."""
        number = next(self._numbers)
        self._socket.send(json.dumps({"id": number, "method": method, "params": params}))
        while True:
            told = json.loads(self._socket.recv(timeout=PATIENCE_S))
            if told.get("id") == number:
                assert "error" not in told, told
                return told["result"]
            self._note(told)

    def _note(self, told):
        method, params = told.get("method"), told.get("params", {})
        if method == "Runtime.exceptionThrown":
            self.complaints.append(str(params["exceptionDetails"]))
        elif method == "Log.entryAdded" and params["entry"]["level"] in ("error", "warning"):
            self.complaints.append(params["entry"]["text"] + " " + params["entry"].get("url", ""))
        elif method == "Runtime.consoleAPICalled" and params["type"] in ("error", "warning"):
            self.complaints.append(str(params["args"]))
        elif method == "Network.responseReceived":
            self.answers[params["response"]["url"]] = params["response"]["status"]

    def size(self, width, height, mobile=False):
        self.do(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=mobile,
        )

    def open(self, address):
        """Go to an address, and wait until its page is loaded."""
        self.do("Runtime.evaluate", expression="window.leaving = true")
        self.do("Page.navigate", url=address)
        self.until("!window.leaving && document.readyState === 'complete'")

    def ask(self, expression):
        """The value of a script's expression."""
        told = self.do(
            "Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True
        )
        assert "exceptionDetails" not in told, told
        return told["result"].get("value")

    def until(self, expression):
        """Wait until a script's expression is true; return its value."""
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            try:
                value = self.ask(expression)
            except AssertionError:  # between two pages there is nobody to ask
                value = None
            if value:
                return value
            time.sleep(LOOK_AGAIN_S)
        raise TimeoutError(
            f"never true: {expression}; the page: {self.ask('document.body.innerText')}"
        )

    def key(self, name, shift=False):
        """Press and release a key."""
        code, number, text = KEYS[name] if name in KEYS else _letter(name)
        about = {
            "key": name,
            "code": code,
            "windowsVirtualKeyCode": number,
            "modifiers": 8 if shift else 0,
        }
        if text:
            about["text"] = text
        self.do("Input.dispatchKeyEvent", type="keyDown", **about)
        self.do(
            "Input.dispatchKeyEvent",
            type="keyUp",
            **{k: v for k, v in about.items() if k != "text"},
        )

    def reach(self, wanted):
        """Press Tab until the wanted thing has the focus; it must show that it has."""
        for _ in range(120):
            self.key("Tab")
            if self.ask(wanted):
                outline = "getComputedStyle(document.activeElement).outlineStyle"
                assert self.ask(outline) == "solid"
                return
        raise AssertionError(f"never reached: {wanted}")

    def write(self, text):
        """Type into what has the focus."""
        self.do("Input.insertText", text=text)

    def drag(self, start, end):
        """Drag the mouse from one place to another."""
        for kind, (x, y), pressed in (
            ("mouseMoved", start, 0),
            ("mousePressed", start, 1),
            ("mouseMoved", ((start[0] + end[0]) / 2, end[1]), 1),
            ("mouseMoved", end, 1),
            ("mouseReleased", end, 0),
        ):
            button = "none" if kind == "mouseMoved" and not pressed else "left"
            self.do(
                "Input.dispatchMouseEvent",
                type=kind,
                x=x,
                y=y,
                button=button,
                buttons=pressed,
                clickCount=1,
            )

    def picture(self, path, whole=False):
        """Keep what the page looks like."""
        told = self.do("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
        path.write_bytes(base64.b64decode(told["data"]))
