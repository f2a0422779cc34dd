"""Clipping: whether the top of a pull is whole, cut off, or neither can be told.

A rail is found by the shape that it leaves: samples at it carry noise, it sinks, and a
filter behind it rounds its corners, so no two of them need be equal. Windows around each of
the highest tops are fitted by smooth curves and by the same curves with a straight line in
place of their top (see `cut_shapes`). A line that yields, or a clamp that slips, looks the
same; the impulse tells them apart where it is known well enough.

Forces here have their zero removed and are positive in the contact.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from tautlog.analysis.cut_shapes import Family, bank_of, fit_all, with_swings
from tautlog.analysis.top_widths import ends_at_corner, is_sharp, lingers
from tautlog.model.limits import SMOOTH_S

FloatArray = npt.NDArray[np.float64]

WHOLE, CUT, UNCLEAR = "whole", "cut", "unclear"

# Thresholds that name no other basis are own choices, held against the tops of
# tests/benchmarks/clipping.py and tests/benchmarks/independent.
FLAT_TOP_FACTOR = 2.5  # times as long as a half-sine is so near to its top
# Noise that is cut off: how near to the largest, in its sigmas; share and number of samples.
CUT_SIGMAS, CUT_SHARE, CUT_SAMPLES = 0.3, 0.4, 12
# Of the time above half of the top, that within 3 % of it: 0.23 for a half-sine, 0.35 for the
# flattest line in use, 0.55 where a quarter of the peak is cut (own simulation).
DWELL = 0.55
DWELL_NEAR, DWELL_HALF = 0.97, 0.5
# Of 233 tops that were whole four dwelt longer, of 136 that a rail had cut by 3 to 8 % none
# shorter (tests/benchmarks/independent).
CUT_FROM_DWELL = 0.285
MOST_SHARP_DWELL = 0.24  # where nobody knows what the amplifier rounds off

BINS = 128  # that a window is thinned to
LEAST_BINS = 14  # that the richest polynomial leaves five degrees of freedom of
LEVELS = (0.3, 0.5, 0.65, 0.8, 0.9)  # of a top, down to which windows reach
MOST_TOPS = 3  # that are looked at, the highest
NEAR_TOP = 0.955  # of the highest: a rail that sinks by 1 % and 3 % of ringing
SWING_LEAST = 0.006  # of the top, that a trough beside it must be deep
QUIET_SAMPLES = 1 << 16  # of slack line: its noise is known to 0.3 % (1 / sqrt(2 n))
LEAST_DEPTH, SURE_DEPTH = 0.008, 0.022  # of the top: shown from, excluded from
LEAST_SINK = 0.015  # of the top, over the plateau: a rail under load
LIKELY_DEPTH = 2.5  # times that of a parabola through the window's ends
SLACK_SIGMAS = 3.0  # of chi-squared, for a fit that is one
FITS_WHOLE, FITS_CUT = 0.001, 0.0025  # of the top, rms: misfit that is still a fit
LIKELIER = 12.0  # difference of chi-squared: one in 400 by chance
CONTRADICTED = 6.0  # the same, that speaks against what else is told
SHOWN = 20.0  # the same, that a cut is shown by
MUCH_LIKELIER = 15.0  # times a contradiction: the better of two rough fits counts
MOST_AGAINST = 30.0  # however much better it is
LEAST_CYCLES = 2.8  # of the amplifier's bandwidth, that the narrowest width must last


@dataclass(frozen=True)
class Crest:
    """What the shape of a top says.

    Attributes
    ----------
    state : str
        "whole", "cut" or "unclear".
    depth : float
        Share of the top that the flanks say is missing above it; 0 where not cut.
    length_s : float
        Time at the plateau; 0 where not cut.
    """

    state: str
    depth: float = 0.0
    length_s: float = 0.0

    def missing_ns(self, top_n: float) -> float:
        """Impulse above the plateau: two thirds of height and length, as of a parabola."""
        return 2.0 / 3.0 * self.depth * top_n * self.length_s


def top_of(
    force_n: FloatArray,
    rate_hz: float,
    even_n: FloatArray,
    quiet_n: FloatArray,
    quantum_n: float,
    *,
    broke: bool = False,
    bandwidth_hz: float = 0.0,
) -> Crest:
    """Say whether the top of a contact is whole.

    Parameters
    ----------
    force_n, even_n : ndarray of float64, shape (n_samples,)
        The contact as measured, and lightly smoothed.
    rate_hz, quantum_n : float
        Samples per second; force of one count.
    quiet_n : ndarray of float64, shape (n_quiet,)
        The slack line: its noise is that of the top.
    broke : bool
        The load path let go: the top may end at a corner, which no smooth curve follows.
    bandwidth_hz : float
        Of the amplifier, or 0 where it is not known: behind a rail it rounds corners off.
    """
    if force_n.size < LEAST_BINS or quiet_n.size < 8:
        return Crest(UNCLEAR)
    quiet_n = quiet_n[-QUIET_SAMPLES:]
    noise_n = float(np.std(quiet_n))
    quick_n = float(np.std(np.diff(quiet_n))) / np.sqrt(2.0)
    dwell, dwell_s = _dwell(even_n, rate_hz)
    if broke:
        flat = flat_top(force_n, quantum_n, noise_n, quick_n)
        if flat:
            return Crest(CUT, 0.0, dwell_s)
        return Crest(UNCLEAR if lingers(force_n, even_n, noise_n) else WHOLE)
    if dwell > DWELL:
        return Crest(CUT, _half_sine_above(dwell), dwell_s)
    if flat_top(force_n, quantum_n, noise_n, quick_n):
        return Crest(CUT, 0.0, dwell_s)
    windows = _Windows(force_n, rate_hz, even_n, quiet_n, quantum_n)
    told = _as_long_as(_told(windows.evidence, rate_hz), dwell)
    if ends_at_corner(even_n) and told.state != CUT:  # no smooth curve follows it
        return Crest(UNCLEAR) if lingers(force_n, even_n, noise_n) else told
    if told.state == UNCLEAR and windows.is_narrow(rate_hz, bandwidth_hz, dwell):
        return Crest(WHOLE)
    return told


def _as_long_as(told: Crest, dwell: float) -> Crest:
    """What curves say, unless the time spent near the top says that it cannot be so."""
    if told.state == WHOLE and dwell > CUT_FROM_DWELL:
        return Crest(UNCLEAR)
    if told.state == CUT and dwell < CUT_FROM_DWELL:
        return Crest(UNCLEAR)
    return told


def _dwell(even_n: FloatArray, rate_hz: float) -> tuple[float, float]:
    """Share of the time above half of the top that is spent near it, and that time."""
    top = float(even_n.max())
    near = even_n > DWELL_NEAR * top
    level = float(np.median(even_n[near]))
    near = even_n > DWELL_NEAR * level
    half = np.flatnonzero(even_n > DWELL_HALF * level)
    length = int(np.count_nonzero(near))
    return length / (int(half[-1]) - int(half[0]) + 1), length / rate_hz


def _half_sine_above(dwell: float) -> float:
    """How far a half-sine that is cut stands above its plateau, in parts of the plateau.

    Cut at c of its peak it is above x times that for 1 - 2 asin(x c) / pi of its length.
    """
    cut = np.linspace(0.99, 0.05, 95)
    dwells = (1.0 - 2.0 / np.pi * np.arcsin(cut)) / (
        1.0 - 2.0 / np.pi * np.arcsin(DWELL_HALF * cut)
    )
    return float(np.interp(dwell, dwells, 1.0 / cut - 1.0))


@dataclass(frozen=True)
class _Evidence:
    """What the windows of one top say: differences of chi-squared.

    `whole`: of the best smooth fit over that of a cut of 2 % or more; `against`: of a cut
    over smooth, where the cut fits within the noise; `plain`: the same for polynomials alone,
    whose misfit is small; `cut`: the same where it must hold for
    all rich families, with `depth` and `length` of its best fit.
    """

    whole: float
    against: float
    plain: float
    cut: float
    depth: float
    length: float


def _told(seen: list[_Evidence], rate_hz: float) -> Crest:
    if not seen:
        return Crest(UNCLEAR)
    whole = min(evidence.whole for evidence in seen)
    against = max(evidence.against for evidence in seen)
    best = max(seen, key=lambda evidence: evidence.cut)
    if best.cut > SHOWN and whole < CONTRADICTED:
        return Crest(CUT, best.depth, best.length / rate_hz)
    plain = max(evidence.plain for evidence in seen)
    slight = whole / MUCH_LIKELIER
    few = max(CONTRADICTED, min(slight, MOST_AGAINST))
    if whole > LIKELIER and against < few and plain < max(SHOWN, slight):
        return Crest(WHOLE)
    return Crest(UNCLEAR)


class _Windows:
    """The windows around the highest tops of one contact."""

    def __init__(
        self,
        force_n: FloatArray,
        rate_hz: float,
        even_n: FloatArray,
        quiet_n: FloatArray,
        quantum_n: float,
    ) -> None:
        self.force_n, self.even_n, self.quiet_n = force_n, even_n, quiet_n
        self.quantum_n, self.top_n = quantum_n, float(even_n.max())
        self.even_noise_n = _noise_of_means(quiet_n, max(SMOOTH_S * rate_hz, 1.0))

    @cached_property
    def evidence(self) -> list[_Evidence]:
        """Evidence of each of the highest tops."""
        found = []
        for peak, first, last in self._tops:
            spans: dict[tuple[int, int], None] = {}
            for level in LEVELS:
                start, stop = self._span(peak, level * float(self.even_n[peak]))
                spans[start, stop] = spans[max(start, first), min(stop, last)] = None
            weighed = [window for span in spans if (window := self._weigh(*span)) is not None]
            if weighed:
                found.append(_together(weighed))
        return found

    def is_narrow(self, rate_hz: float, bandwidth_hz: float, dwell: float) -> bool:
        """Whether the top is a single one, and too narrow at its highest to have been cut.

        Of several, a rail may have cut the tips alone.
        """
        known = bandwidth_hz > 0.0
        if len(self._tops) > 1 or dwell > (CUT_FROM_DWELL if known else MOST_SHARP_DWELL):
            return False
        if not any(np.isfinite(evidence.whole) for evidence in self.evidence):
            return False  # no curve follows it: shoulders, not flanks, may be what is wide
        likely = any(evidence.whole > LIKELIER for evidence in self.evidence)
        least = LEAST_CYCLES * rate_hz / bandwidth_hz if known else 0.0
        noise_n = self.even_noise_n
        return is_sharp(self.force_n, self.even_n, noise_n, likely=likely, least=least)

    @cached_property
    def _tops(self) -> list[tuple[int, int, int]]:
        """Highest tops, each with the troughs on both sides of it."""
        from scipy.signal import find_peaks  # late: see `filters`

        few = max(self.even_n.size // 4000, 1)
        thin = self.even_n[::few]
        deep = max(6.0 * self.even_noise_n, SWING_LEAST * self.top_n)
        found, _ = find_peaks(np.concatenate([[0.0], thin, [0.0]]), prominence=deep)
        found = found[thin[found - 1] > NEAR_TOP * self.top_n] - 1
        highest = found[np.argsort(-thin[found])][:MOST_TOPS]
        return [
            (
                int(top) * few,
                (int(top) - _trough(thin[top::-1], deep)) * few,
                min((int(top) + _trough(thin[top:], deep)) * few + 1, self.even_n.size),
            )
            for top in highest
        ]

    def _span(self, peak: int, level_n: float) -> tuple[int, int]:
        below = self.even_n < level_n
        before, after = np.flatnonzero(below[:peak]), np.flatnonzero(below[peak:])
        start = int(before[-1]) + 1 if before.size else 0
        return start, peak + int(after[0]) if after.size else below.size

    def _weigh(self, start: int, stop: int) -> list[_Weighed] | None:
        """Weigh all families of curves in one window."""
        size = stop - start
        if size < LEAST_BINS:
            return None
        bins = size if size < 1.25 * BINS else BINS
        window = _means(self.force_n[start:stop], bins)
        noise = _noise_of_means(self.quiet_n, size / bins)
        # Rounding to counts is no noise where there is little of it: means keep it.
        noise = float(np.sqrt(noise**2 + self.quantum_n**2 / 12.0 + (1e-4 * self.top_n) ** 2))
        ends = 0.5 * float(self.even_n[start] + self.even_n[stop - 1])
        drop = 1.0 - ends / float(self.even_n[start:stop].max())
        scale = _Scale(noise, self.top_n, drop, 0.5 * size)
        families = fit_all(window)
        if families and not _fits(families[-1], noise):
            families += with_swings(window)
        return [_weighed(family, bins, scale) for family in families]


@dataclass(frozen=True)
class _Scale:
    """Noise of a bin, the top, how far its window reaches down, and half its samples."""

    noise_n: float
    top_n: float
    drop: float
    half: float


@dataclass(frozen=True)
class _Weighed:
    """One family in one window, see `_Evidence`; `rich` where it may show a cut."""

    whole: float
    against: float
    cut: float
    rich: bool
    swings: bool
    depth: float
    length: float


def _fits(family: Family, noise_n: float) -> bool:
    limit = 1.0 + SLACK_SIGMAS * float(np.sqrt(2.0 / family.freedom))
    return family.smooth / noise_n**2 < family.freedom * limit


def _weighed(family: Family, bins: int, scale: _Scale) -> _Weighed:
    """Compare the smooth curve with the best of the cut ones that a rail could make."""
    bank = bank_of(bins)
    depth = family.depth / scale.top_n
    likely = np.abs(family.slope) < LEAST_SINK * scale.top_n
    likely &= depth < LIKELY_DEPTH * scale.drop * bank.half**2 / (1.0 - bank.half**2)
    cut = family.cut / scale.noise_n**2
    shallow = np.where(likely & (depth > LEAST_DEPTH), cut, np.inf)
    deep = float(np.where(likely & (depth > SURE_DEPTH), cut, np.inf).min())
    best = int(np.argmin(shallow))
    smooth, least = family.smooth / scale.noise_n**2, float(shallow[best])
    noise = scale.noise_n / scale.top_n
    limit = 1.0 + SLACK_SIGMAS * float(np.sqrt(2.0 / family.freedom))
    whole = against = shown = -np.inf
    misfit = smooth / family.freedom
    if misfit < max(limit, 1.0 + (FITS_WHOLE / noise) ** 2) and np.isfinite(deep):
        whole = (deep - smooth) / _excess(misfit, limit, bins)
    misfit = least / family.freedom
    if misfit < max(limit, 1.0 + (FITS_CUT / noise) ** 2):
        shown = (smooth - least) / _excess(misfit, limit, bins)
    if misfit < limit and family.degree == 6:
        against = (smooth - least) / max(misfit, 1.0)
    length = 2.0 * float(bank.half[best]) * scale.half
    return _Weighed(
        whole, against, shown, family.degree >= 6, family.swings, float(depth[best]), length
    )


def _excess(misfit: float, limit: float, bins: int) -> float:
    """By how much a difference of chi-squared is worth less where the fit is not perfect.

    What a fit leaves over beyond noise is no noise: neighbours go together, some 16 spans of
    them in a window.
    """
    scale = max(misfit, 1.0)
    return scale * (1.0 + max(scale - limit, 0.0) / scale * bins / 16.0)


def _together(windows: list[list[_Weighed]]) -> _Evidence:
    """Evidence of one top from all its windows."""
    every = [weighed for window in windows for weighed in window]
    plain = [
        [weighed.cut for weighed in window if weighed.rich and not weighed.swings]
        for window in windows
    ]
    agreed = max((min(cuts) for cuts in plain if len(cuts) > 1), default=-np.inf)
    best = _Evidence(
        max((weighed.whole for weighed in every), default=-np.inf),
        max((weighed.against for weighed in every), default=-np.inf),
        agreed,
        -np.inf,
        0.0,
        0.0,
    )
    for window in windows:
        rich = [weighed for weighed in window if weighed.rich] or window
        if not rich:
            continue
        least = min(rich, key=lambda weighed: weighed.cut)
        if least.cut > best.cut:
            best = replace(best, cut=least.cut, depth=least.depth, length=least.length)
    return best


def _trough(values: FloatArray, deep_n: float) -> int:
    """Place of the lowest value before the first that rises out of it by so much."""
    rises = np.flatnonzero(values > np.minimum.accumulate(values) + deep_n)
    return int(np.argmin(values[: rises[0] + 1])) if rises.size else values.size - 1


def _means(values: FloatArray, bins: int) -> FloatArray:
    """Means of bins of equal length, which may share a sample."""
    if bins == values.size:
        return values
    sums = np.concatenate([[0.0], np.cumsum(values)])
    edges = np.linspace(0.0, values.size, bins + 1)
    means = np.diff(np.interp(edges, np.arange(sums.size), sums)) * (bins / values.size)
    return np.asarray(means, np.float64)


def _noise_of_means(quiet_n: FloatArray, length: float) -> float:
    """Rms of means of so many samples, from differences of neighbours: hum is a shape."""
    whole = max(round(length), 1)
    count = quiet_n.size // whole
    if count < 12:
        return float(np.std(np.diff(quiet_n))) / float(np.sqrt(2.0 * length))
    means = quiet_n[: count * whole].reshape(count, whole).mean(axis=1)
    bends = means[1:-1] - 0.5 * (means[2:] + means[:-2])
    return float(np.sqrt(np.mean(bends**2) / 1.5 * whole / length))


def flat_top(force_n: FloatArray, quantum_n: float, noise_n: float, quick_n: float) -> bool:
    """Whether the top of a contact is cut off.

    Either it lasts far longer than that of a half-sine, or its noise is cut off: of
    values that scatter, only a few come close to the largest.

    Parameters
    ----------
    force_n : ndarray of float64, shape (n_samples,)
        The contact, neither filtered nor smoothed: at a rail the noise is cut off, too.
    quantum_n, noise_n, quick_n : float
        Of one count; rms of the slack line, and that of it which changes from sample to
        sample.
    """
    top = float(force_n.max())
    if force_n.size < 12:
        return False
    if quick_n > 2.0 * quantum_n:
        # Of what lies within the noise of the top, little comes close to the largest.
        near = np.count_nonzero(force_n >= top - 6.0 * quick_n)
        close = np.count_nonzero(force_n >= top - max(2.0 * quantum_n, CUT_SIGMAS * quick_n))
        if close >= CUT_SAMPLES and close > CUT_SHARE * near:
            return True
    # The largest of many lies four sigma above their mean, the lowest as far below.
    depth = max(3.0 * quantum_n, 6.0 * noise_n, 1e-4 * top)
    if depth > 0.1 * top:
        return False
    natural = force_n.size * (2 / np.pi) * np.sqrt(2 * depth / top)
    return _dense(force_n >= top - depth, 0.8, max(FLAT_TOP_FACTOR * natural, 4))


def _dense(within: npt.NDArray[np.bool_], share: float, least: float) -> bool:
    """Whether more samples than `least` lie within, and most of those between them."""
    places = np.flatnonzero(within)
    width = int(places[-1] - places[0]) + 1
    return bool(places.size > share * width and places.size > least)
