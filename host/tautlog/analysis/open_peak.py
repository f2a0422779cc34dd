"""Open peak: between which forces the line's peak lies, where ring or amplifier leave it open.

The uncertainty of the peak is that of the cell's force, as the amplifier passes it. What a
ringing fixture adds and what an amplifier that nobody described may take is no part of it, and
must not be claimed either.
"""

from __future__ import annotations

from dataclasses import dataclass

from tautlog.model.marks import Marks
from tautlog.model.uncertainty import one_pole_loss

ROUNDS, MOST_LOST = 12, 0.9  # of the search for a loss; more than that is no peak; own choice


@dataclass(frozen=True)
class OpenPeak:
    """Least and largest force that the line may have had at its peak, and why, in words."""

    least_n: float
    most_n: float
    why: str = ""


def open_peak(marks: Marks) -> OpenPeak:
    """Tell what ring and amplifier leave open, around the peak of the cell's force."""
    peak_n = abs(marks.peak_force_n or 0.0)
    ring_n, lost = marks.ring_peak_n or 0.0, lost_at_most(marks)
    why = []
    if ring_n and marks.fixture_hz:
        why.append(
            f"cell and fittings ring at {marks.fixture_hz:.0f} Hz, by up to {ring_n:.0f} N of this"
        )
    if lost:
        why.append(
            f"an amplifier whose bandwidth nobody stated may have taken {100 * lost:.1f} % of it"
        )
    return OpenPeak(peak_n - ring_n, peak_n / (1.0 - lost), " and ".join(why))


def lost_at_most(marks: Marks) -> float:
    """Share of the peak that an unstated amplifier may have taken, by the fall of the force.

    0 where the bandwidth is stated, or the force did not fall: then nothing bounds it.
    """
    length_s, least_hz = marks.half_sine_s, marks.bandwidth_at_least_hz
    if not marks.has("bandwidth-unknown") or not length_s or not least_hz:
        return 0.0
    lost = 0.0
    for _ in range(ROUNDS):  # a pulse that was lowered was lengthened as much: its impulse stays
        lost = min(one_pole_loss(least_hz, length_s * (1.0 - lost)), MOST_LOST)
    return lost
