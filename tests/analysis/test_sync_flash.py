"""The sync flash: which lighting marks the release, and how late it was, by its stamps."""

import pytest

from tautlog.analysis.sync_flash import SyncFlash, sync_flash
from tautlog.model.stream import BoardEvent

RATE_HZ = 62_500.0


def event(name, stamp_us, number=0):
    return BoardEvent(number, name, round(stamp_us * RATE_HZ / 1e6), stamp_us % 2**30, 0)


@pytest.mark.parametrize("start_us", [0, 2**30 - 500_001, 2**30 - 500_000])
def test_the_last_flash_marks_the_release(start_us):
    """A knock at 0.48 s was flashed, too; the board's clock may come round in between."""
    seen = [("flash", 480_001), ("knock", 480_000), ("flash", 500_002), ("release-opened", 500_000)]
    told = sync_flash([event(name, start_us + at) for name, at in seen], RATE_HZ)
    assert told.late_s == pytest.approx(2e-6)
    assert told.time_s == pytest.approx((start_us + 500_002) * 1e-6, abs=1 / RATE_HZ)
    assert told.doubt == ""


def test_a_flash_by_the_program_is_late_and_says_so():
    told = sync_flash([event("release-by-force", 700_000), event("flash", 731_250)], RATE_HZ)
    assert told.late_s == pytest.approx(31.25e-3)
    assert "31.25 ms after the force told of the release" in told.doubt


@pytest.mark.parametrize(("late_us", "doubtful"), [(100, False), (101, True), (-101, True)])
def test_a_flash_far_from_its_release_is_doubted(late_us, doubtful):
    told = sync_flash([event("flash", 900_000 + late_us), event("release-opened", 900_000)], 1e6)
    assert bool(told.doubt) == doubtful


def test_without_a_flash_or_a_release_nothing_is_made_up():
    assert sync_flash([event("release-opened", 5)], RATE_HZ) == SyncFlash()
    alone = sync_flash([event("flash", 500_000)], RATE_HZ)
    assert (alone.time_s, alone.late_s, alone.doubt) == (0.5, None, "")
