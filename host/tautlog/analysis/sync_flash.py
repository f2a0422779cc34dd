"""Sync flash: which lighting of it marks the release, and how late it was.

The board lights it in hardware at the first edge of each opening of the release switch, and puts
it out where that was a knock: the last one is that of the release (`tautlog.firmware.wire`).
Where the force told of the release, the program lights it, late.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tautlog.firmware import wire
from tautlog.model.stream import BoardEvent

FLASH, OPENED, FORCE = "flash", "release-opened", "release-by-force"
# By the edge the board needs two microseconds; beyond this a film shows another instant than the
# record: a tenth of a picture at 1000 pictures a second. Own choice.
PROMPT_S = 100e-6


@dataclass(frozen=True)
class SyncFlash:
    """The flash that marks the release.

    Attributes
    ----------
    time_s : float or None
        When it was lit, from the start of the trace; None if no flash was stamped.
    late_s : float or None
        From the stamp of the release to that of the flash; None without a release.
    doubt : str
        Why a film must not be laid on the release by it; "" if it may.
    """

    time_s: float | None = None
    late_s: float | None = None
    doubt: str = ""


def sync_flash(events: Sequence[BoardEvent], sample_rate_hz: float) -> SyncFlash:
    """Read the flash out of a record's events, with sample indices from the start of the trace."""
    flash = next((event for event in reversed(events) if event.name == FLASH), None)
    release = next((event for event in events if event.name in (OPENED, FORCE)), None)
    if flash is None:
        return SyncFlash()
    time_s = flash.sample_index / sample_rate_hz
    if release is None:
        return SyncFlash(time_s)
    late_s = 1e-6 * wire.ticks_elapsed_us(flash.stamp_us, release.stamp_us)
    return SyncFlash(time_s, late_s, _doubt(late_s, release.name == FORCE))


def _doubt(late_s: float, by_force: bool) -> str:
    if abs(late_s) <= PROMPT_S and not by_force:
        return ""
    what = "the force told of the release" if by_force else "the stamped release"
    side = "after" if late_s >= 0.0 else "before"
    return (
        f"the sync flash was lit {1000 * abs(late_s):.2f} ms {side} {what}: lay a film on the "
        "record by the flash's own time"
    )
