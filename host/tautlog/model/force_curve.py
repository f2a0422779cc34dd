"""Force curve: the curve of a drop's figures, for pictures, lists and export.

Marking makes it once. No other code filters, zeroes or inverts a force to show it: what is shown
is what was measured.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class ForceCurve:
    """The force of a whole trace, as marking used it.

    Attributes
    ----------
    sample_rate_hz : float
        Samples per second; sample i is at begins_s + i / sample_rate_hz.
    force_n : ndarray of float64, shape (n_samples,)
        Zero removed, glitches left out, class-filtered, positive in tension as in the trace;
        NaN for a missing sample. If the load path let go, the force up to that was filtered by
        itself.
    unfiltered_n : ndarray of float64, shape (n_samples,)
        Only the zero is removed.
    cfc : int or None
        The class; None for no filter.
    zero_n : float or None
        The zero that was removed; None if no zero was to be removed.
    sign : int
        -1 if the measured contact is negative, else 1. It is reported, not applied.
    break_time_s : float or None
        Loss of load up to which the force was filtered by itself.
    duration_from_s, duration_to_s : float or None
        Ends of the duration, at 10 % of the peak.
    glitches : int
        Number of samples left out.
    begins_s : float
        Time of the first sample; 0 but for an excerpt of a long record.
    """

    sample_rate_hz: float
    force_n: FloatArray
    unfiltered_n: FloatArray
    cfc: int | None = None
    zero_n: float | None = None
    sign: int = 1
    break_time_s: float | None = None
    duration_from_s: float | None = None
    duration_to_s: float | None = None
    glitches: int = 0
    begins_s: float = 0.0

    def __post_init__(self) -> None:
        for values in (self.force_n, self.unfiltered_n):
            values.flags.writeable = False

    @cached_property
    def time_s(self) -> FloatArray:
        """Seconds from the start of the trace, shape (n_samples,)."""
        return self.begins_s + np.arange(self.force_n.size) / self.sample_rate_hz

    @property
    def ends_s(self) -> float:
        """Time at which it ends."""
        return self.begins_s + self.force_n.size / self.sample_rate_hz

    def place_of(self, time_s: float) -> float:
        """Place of a time in samples, with a fraction."""
        return (time_s - self.begins_s) * self.sample_rate_hz

    def at(self, time_s: float) -> float:
        """Force at a time, linear between samples; NaN outside the trace."""
        return float(np.interp(time_s, self.time_s, self.force_n, left=np.nan, right=np.nan))

    @property
    def name(self) -> str:
        """The class in words."""
        return f"CFC {self.cfc}" if self.cfc else "unfiltered"

    def words(self) -> tuple[str, ...]:
        """What was done to the force, one line for each step."""
        zero = "not removed" if self.zero_n is None else f"{self.zero_n:.6g} N removed"
        found = [
            f"zero: {zero}",
            f"filter: channel frequency class {self.cfc}, no phase shift"
            if self.cfc
            else "filter: none",
            "sign: positive in tension, as in the record"
            + ("; the force of this contact is negative" if self.sign < 0 else ""),
        ]
        if self.break_time_s is not None:
            found.append(
                f"break: the load path let go at {self.break_time_s:.6f} s; the force up to that "
                "was filtered by itself"
            )
        if self.glitches:
            found.append(f"glitches: {self.glitches} sample(s) left out")
        missing = int(np.count_nonzero(~np.isfinite(self.unfiltered_n)))
        if missing:
            found.append(f"missing: {missing} sample(s), left empty")
        return tuple(found)

    def short_words(self) -> tuple[str, ...]:
        """The same, shorter."""
        zero = "zero not removed" if self.zero_n is None else f"zero {self.zero_n:.4g} N removed"
        apart = self.break_time_s is not None
        parts = (zero, self.name, "negative contact" if self.sign < 0 else "")
        return tuple(part for part in (*parts, "filtered up to the break" if apart else "") if part)
