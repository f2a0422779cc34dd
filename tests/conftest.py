"""Profiles and tools that all tests share."""

import os
import shutil
import sys
from pathlib import Path

import hypothesis
import pytest
from places import DATA

# Before numpy is loaded, as `tautlog.__main__` does for the command.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Byte code is kept whatever the shell says: else both workers and each `tautlog` that a test starts
# compile the same hundreds of files again.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# What tests write lies in memory where there is plenty: a test that waits for a disk holds a
# processor idle. No test can take a disk's power away, so none is weaker for it.
MEMORY, ENOUGH_BYTES = "/dev/shm", 6e9
if os.access(MEMORY, os.W_OK) and shutil.disk_usage(MEMORY).free > ENOUGH_BYTES:
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", MEMORY)

hypothesis.settings.register_profile("ci", derandomize=True, deadline=None)
hypothesis.settings.register_profile("dev", deadline=None)
hypothesis.settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci"))


def tool(name):
    """Path of a command beside this interpreter or on PATH; skips without."""
    beside = Path(sys.executable).with_name(name)
    found = str(beside) if beside.exists() else shutil.which(name)
    if not found:
        pytest.skip(f"no {name} here: pip install -e '.[dev]' brings one")
    return found


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """Of a table marked `rows(n)`, n rows stay in the ordinary suite, evenly spread."""
    tables = {}
    for item in items:
        if item.get_closest_marker("rows"):
            tables.setdefault(item.nodeid.partition("[")[0], []).append(item)
    for table in tables.values():
        count = table[0].get_closest_marker("rows").args[0]
        kept = {number * len(table) // count for number in range(count)}
        for number, item in enumerate(table):
            if number not in kept:
                item.add_marker("wide")


@pytest.fixture(scope="session")
def micropython():
    return tool("micropython")


@pytest.fixture(scope="session")
def mpy_cross():
    return tool("mpy-cross")


@pytest.fixture
def display():
    """A virtual screen; skips without Xvfb, xdotool and tkinter."""
    import screens

    pytest.importorskip("tkinter", reason="no tkinter here: the real window is not tried")
    if not screens.tools_are_there():
        pytest.skip("no Xvfb and xdotool here: the real window is not tried")
    found = screens.Display()
    yield found
    found.close()


@pytest.fixture
def data():
    return DATA
