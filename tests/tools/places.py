"""Where things lie in the repository."""

from pathlib import Path

ROOT = Path(__file__).parents[2]
FIRMWARE = ROOT / "firmware"
HOST = ROOT / "host" / "tautlog"
TESTS = ROOT / "tests"
DATA = TESTS / "data"
