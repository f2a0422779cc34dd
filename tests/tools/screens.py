"""A virtual screen for the tests that need a real window."""

import os
import shutil
import subprocess
import time
from types import SimpleNamespace

import numpy as np
from PIL import ImageGrab

PATIENCE_S = 60.0
LOOK_AGAIN_S = 0.1


class Display:
    """A virtual screen, its pixels, and a hand at its mouse and keys."""

    def __init__(self):
        read, write = os.pipe()
        self._process = subprocess.Popen(
            [
                "Xvfb",
                "-displayfd",
                str(write),
                "-screen",
                "0",
                "1600x1000x24",
                "-nolisten",
                "tcp",
                "-noreset",
            ],
            pass_fds=(write,),
            stderr=subprocess.DEVNULL,
        )
        os.close(write)
        with os.fdopen(read) as told:
            self.name = ":" + told.readline().strip()
        self.environment = {**os.environ, "DISPLAY": self.name, "MPLBACKEND": "tkagg"}

    def close(self):
        self._process.terminate()
        self._process.wait()

    def _tell(self, *words):
        return subprocess.run(
            ["xdotool", *map(str, words)], env=self.environment, capture_output=True, text=True
        )

    def find(self, title):
        """Place of the visible window of that title, or None."""
        found = self._tell("search", "--onlyvisible", "--name", title).stdout.split()
        if not found:
            return None
        told = self._tell("getwindowgeometry", "--shell", found[0]).stdout.splitlines()
        place = dict(line.split("=") for line in told if "=" in line)
        return SimpleNamespace(
            x=int(place["X"]),
            y=int(place["Y"]),
            width=int(place["WIDTH"]),
            height=int(place["HEIGHT"]),
        )

    def click(self, x, y, button):
        self._tell("mousemove", x, y, "click", button)

    def key(self, name):
        self._tell("key", name)

    def picture(self, box=None):
        """Grey values of a part of the screen."""
        image = ImageGrab.grab(bbox=box, xdisplay=self.name).convert("L")
        return np.asarray(image, int)

    def settled(self, box):
        """The picture, once it is drawn and stands still."""
        return until(lambda: self._still(box))

    def _still(self, box):
        first = self.picture(box)
        time.sleep(LOOK_AGAIN_S)
        second = self.picture(box)
        return second if second.max() > 200 and np.array_equal(first, second) else None

    def changed(self, box, before):
        """The picture, once it is another one and stands still."""

        def other():
            now = self._still(box)
            return None if now is None or np.array_equal(now, before) else now

        return until(other)


def until(ask):
    """What a question answers, once it is neither None nor False."""
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        answer = ask()
        if answer is not None and answer is not False:
            return answer
        time.sleep(LOOK_AGAIN_S)
    raise TimeoutError(f"nothing in {PATIENCE_S} s")


def wait_for_window(display, title, process):
    """The window of a program, once it is there; an error if the program ends before."""

    def there():
        if process.poll() is not None:
            said = process.stderr.read() if process.stderr else b""
            raise AssertionError(f"ended with {process.returncode}: {said.decode()}")
        return display.find(title)

    return until(there)


def press(display, x, y, button):
    """Click somewhere on the screen."""
    display.click(x, y, button)


def pixels(picture):
    """How many pixels are dark."""
    return int((picture < 120).sum())


def tools_are_there():
    return all(shutil.which(name) for name in ("Xvfb", "xdotool"))
