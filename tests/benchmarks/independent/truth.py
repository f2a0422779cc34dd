"""Truth: what a perfect instrument would have told of a motion.

The class filter is SAE J211-1's: a Butterworth of two poles at 2.0775 x class, once
forward and once backward (Appendix C; the constant as printed there), by `scipy.signal`.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.signal import butter, sosfilt, sosfilt_zi

from independent.rig import FloatArray, Motion

J211_CORNER_PER_CLASS = 2.0775


def class_filtered(force_n: FloatArray, rate_hz: float, cfc: int | None) -> FloatArray:
    """Filter at a channel frequency class; ends are reflected through their points."""
    if cfc is None or force_n.size < 3:
        return force_n
    sos = butter(2, J211_CORNER_PER_CLASS * cfc, fs=rate_hz, output="sos")
    pad = min(max(int(0.01 * rate_hz), 100), force_n.size - 1)  # ISO 6487 annex A
    left = 2.0 * force_n[0] - force_n[pad:0:-1]
    right = 2.0 * force_n[-1] - force_n[-2 : -pad - 2 : -1]
    work = np.concatenate((left, force_n, right))
    for _ in range(2):
        start = sosfilt_zi(sos) * work[0]
        work = sosfilt(sos, work, zi=start)[0][::-1]
    return work[pad : pad + force_n.size]


def on_grid(motion: Motion, values: FloatArray, time_s: FloatArray) -> FloatArray:
    """Values at other times: splines between the instants where something jumps."""
    out = np.zeros(time_s.size)
    bounds = [*sorted(set(motion.smooth_from)), motion.time_s.size]
    for first, last in pairwise(bounds):
        end = motion.time_s[last] if last < motion.time_s.size else np.inf
        low, high = np.searchsorted(time_s, [motion.time_s[first], end])
        if low == high:
            continue
        t, y = motion.time_s[first:last], values[first:last]
        where = time_s[low:high]
        keep = np.concatenate(([True], np.diff(t) > 1e-12))
        t, y = t[keep], y[keep]
        if t.size >= 4:
            inner = CubicSpline(t, y)(np.minimum(where, t[-1]))
        else:
            inner = np.interp(where, t, y)
        if last < motion.time_s.size and end > t[-1]:  # to where it jumps: straight
            late = where > t[-1]
            inner[late] = np.interp(where[late], [t[-1], end], [y[-1], values[last]])
        out[low:high] = inner
    return out


@dataclass(frozen=True)
class Truth:
    """What was so, whatever the record says.

    Attributes
    ----------
    kind, seed : str, int
        What makes this drop again.
    path : str
        held, slipped, set (plastic, some per cent), let-go.
    slipped_m, stretch_m, slip_share : float
        Slipped in the first pull; largest stretch with it; their ratio.
    cell_peak_n, line_peak_n : float
        Largest force of cell and line, unfiltered.
    onset_s, slack_s, break_s : float or None
        In the trace's time, of the first pull.
    release_s : float
        When the sled was really let go, in the trace's time.
    restitution : float or None
        Speed at slack over that at the onset.
    impulse_ns : float
        Integral of the cell's force over the first pull.
    clip_depth : float
        1 - rail / peak at the amplifier's end, both from zero; 0 where nothing was clipped.
    clip_loss : float
        Share of the class-filtered peak that the rail took; less than the depth where only
        ringing was clipped.
    cut : str
        What is missing of the record; "" where nothing is.
    lies : tuple of str
        What was told wrong or disturbed; "" where nothing was.
    grid_hz, cell_n, line_n, until_break
        The true forces in the trace's time, and how many samples until the break.
    """

    kind: str
    seed: int
    path: str
    slipped_m: float
    stretch_m: float
    slip_share: float
    cell_peak_n: float
    line_peak_n: float
    onset_s: float | None
    slack_s: float | None
    break_s: float | None
    release_s: float
    restitution: float | None
    impulse_ns: float
    clip_depth: float
    clip_loss: float
    cut: str
    lies: tuple[str, ...]
    grid_hz: float
    cell_n: FloatArray
    line_n: FloatArray

    def peak_n(self, cfc: int | None, *, line: bool = False) -> float:
        """Largest class-filtered force of cell or line; up to the break where it parted.

        A force that parts is filtered by itself up to the break, as the definition of the
        peak has it.
        """
        force = self.line_n if line else self.cell_n
        if self.break_s is not None:
            force = force[: int(self.break_s * self.grid_hz)]
        if force.size == 0:
            return 0.0
        return float(class_filtered(force, self.grid_hz, cfc).max())
