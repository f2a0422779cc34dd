"""Code density: from how often each code came under a uniform ramp to a converter's levels.

Under a ramp that is uniform in time a code comes as often as it is wide. The number of counts
below a code, over the ramp's counts in one step, is therefore the level where the code begins
(the ramp histogram test of IEEE 1241; the same for waveform recorders in IEEE 1057). Noise blurs
no level in the mean, because it lifts as many conversions over a level as it drops below it. The
ramp's slope and start are not known: the best straight line through the levels is taken out, with
it gain and offset. The first and the last codes are left out: there the ramp turns.

Each ramp gives its own levels. Their scatter gives the standard uncertainty of the mean (type A).
Rising and falling ramps count alike: what lags or creeps behind the ramp shifts them in opposite
directions and goes from their mean; what is left between them is told as hysteresis.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tautlog.calibrate.knots import fitted_knots
from tautlog.errors import CalibrationError
from tautlog.model.code_counts import CodeCounts, HeldLevel
from tautlog.model.linearity import LARGEST_ERROR, Linearity

FloatArray = npt.NDArray[np.float64]

# Own choices.
LEAST_RAMPS = 4  # two of each direction: fewer have no scatter
EDGE_CODES = 64  # left out beside the first and the last that came; rails lie further in
END_CODES = 100  # a ramp that stays further from an end does not cover what rails allow
LEAST_SPAN = 1 / 4  # of all codes; a smaller ramp is none
FEW_COUNTS = 16.0  # in a step of one ramp: a level is then known to 0.2 steps at best
TOLERANCE = 0.2  # steps: how far levels may lie off the table, or
TOLERANCE_U = 4.0  # times their scatter and hysteresis: neither noise nor stairs make a knot
MOST_SCATTER = 6.0  # times what the converter's noise explains
MUCH_SCATTER = 0.3  # steps rms between ramps, below which that does not matter
MOST_HYSTERESIS = 1.0  # steps rms
MOST_LOAD = 1.0  # steps rms
MOST_NOISE = 8.0  # steps rms: ten times what is published
MOST_MISSING = 8  # codes that never came
MOST_ERRORS = 1e-3  # of all conversions

LOW_RATE_HZ = 2000.0  # conversions below which an input's load is nothing
LEAST_LEVELS = 4  # to see what of a shift is no straight line
PIN_OHM = 5.0  # half-width of a pin's resistance when high less that when low; an estimate
BOW_RMS = 0.298  # of a parabola of height 1, rms, beside its best straight line: 2/(3 sqrt 5)


@dataclass(frozen=True)
class CodeDensity:
    """A converter as a code-density test found it.

    Attributes
    ----------
    counts : CodeCounts
        What was counted.
    codes : ndarray of int64
        The codes that are judged, one after the other.
    inl, dnl : ndarray of float64
        Integral and differential non-linearity of these codes, in steps.
    level_u, width_u : float
        Standard uncertainty of a level and of a code's width by the scatter of ramps, in steps.
    hysteresis : float
        Half the difference of rising and falling ramps, rms, beyond that scatter, in steps.
    source_u : float
        Standard uncertainty of a level by bends of the ramp itself, in steps.
    table_u : float
        Levels beside the table, rms, in steps.
    counts_per_code : (float, float)
        Fewest and median counts of a code that is judged, all ramps together.
    noise_saving, noise_forced : float or None
        Noise of one conversion, rms, in steps, while the regulator may save power and while it
        may not; None if not measured.
    linearity : Linearity
        The table.
    doubts : tuple of str
        Why it must not be believed.
    remarks : tuple of str
        What else is to be known.
    """

    counts: CodeCounts
    codes: npt.NDArray[np.int64]
    inl: FloatArray
    dnl: FloatArray
    level_u: float
    width_u: float
    hysteresis: float
    source_u: float
    table_u: float
    counts_per_code: tuple[float, float]
    noise_saving: float | None
    noise_forced: float | None
    linearity: Linearity
    doubts: tuple[str, ...]
    remarks: tuple[str, ...]

    @property
    def wide_codes(self) -> tuple[int, ...]:
        """Codes that were judged and are at least twice too wide."""
        first, last = int(self.codes[0]), int(self.codes[-1])
        return tuple(code for code in self.linearity.wide_codes if first <= code <= last)


@dataclass(frozen=True)
class _Levels:
    """Levels by ramps: their mean, and how they scatter."""

    codes: npt.NDArray[np.int64]
    inl: FloatArray
    u: float
    width_u: float
    hysteresis: float
    scatter: float  # of one ramp, rms
    per_step: float  # counts of one ramp in a step


def evaluate(counts: CodeCounts, day: str) -> CodeDensity:
    """Judge the counts of a code-density test.

    Parameters
    ----------
    counts : CodeCounts
        What was counted.
    day : str
        ISO day of the test.

    Raises
    ------
    CalibrationError
        If they make no table at all.
    """
    levels = _levels(counts)
    tolerance = max(TOLERANCE, TOLERANCE_U * math.hypot(levels.u, levels.hysteresis))
    knots, table_u = fitted_knots(levels.codes, levels.inl, tolerance)
    text = _source(counts, day)
    try:
        bare = Linearity(counts.bits, knots, 0.0, 0.0, text)
        load = load_u(bare, counts.held)
        source = math.hypot(pin_u(counts.bits, counts.wiring.resistor_ohm), load or 0.0)
        u = math.hypot(levels.u, levels.hysteresis / math.sqrt(3.0), table_u, source)
        saving = _noise(bare, counts.held, forced=False)
        forced = _noise(bare, counts.held, forced=True)
        # What is larger than a table can hold is in doubt long before.
        u, noise = (min(value, LARGEST_ERROR) for value in (u, saving or 0.0))
        linearity = Linearity(counts.bits, knots, u, noise, text)
    except ValueError as problem:
        raise CalibrationError(f"this is no converter's: {problem}") from problem
    inside = counts.ramps[:, levels.codes[:-1]].sum(axis=0)
    return CodeDensity(
        counts=counts,
        codes=levels.codes[:-1],
        inl=levels.inl[:-1],
        dnl=np.diff(levels.inl),
        level_u=levels.u,
        width_u=levels.width_u,
        hysteresis=levels.hysteresis,
        source_u=source,
        table_u=table_u,
        counts_per_code=(float(inside.min()), float(np.median(inside))),
        noise_saving=saving,
        noise_forced=forced,
        linearity=linearity,
        doubts=_doubts(counts, levels, saving) + _load_doubts(counts, load),
        remarks=_remarks(counts, levels),
    )


def _source(counts: CodeCounts, day: str) -> str:
    """Who found it, how and when."""
    return (
        f"code density, {len(counts.ramps)} ramps of {counts.ramp_s:g} s, board {counts.serial}, "
        f"{day}"
    )


def pin_u(bits: int, resistor_ohm: float) -> float:
    """Standard uncertainty of a level by the pin that makes the ramp, in steps, pooled over codes.

    A pin that is not equally strong when high and when low bends the ramp by the difference of
    its resistances over R, times duty times the rest: a bow of unknown sign.
    """
    height = 0.25 * float(2**bits) * PIN_OHM / resistor_ohm
    return BOW_RMS * height / math.sqrt(3.0)


def load_u(bare: Linearity, held: tuple[HeldLevel, ...]) -> float | None:
    """Standard uncertainty of a level by the load of the conversions, in steps.

    Each conversion takes a charge from C, which shifts the level by R times the mean current. A
    shift in proportion to the level is gain. It is seen against conversions that come many times
    more slowly; the bow over the levels, besides the straight line, is taken as uncertain.

    Returns
    -------
    float or None
        None if it was not measured.
    """
    levels = bare.levels(1)
    held = _inside(held)
    fast = {one.level: _mean(levels, one) for one in held if not one.slow and not one.forced}
    slow = {one.level: _mean(levels, one) for one in held if one.slow and not one.forced}
    places = np.array(sorted(fast.keys() & slow.keys()))
    if places.size < LEAST_LEVELS:
        return None
    shifts = np.array([fast[place][0] - slow[place][0] for place in places])
    variance = float(np.mean([fast[place][1] + slow[place][1] for place in places]))
    share = places / 2**bare.bits
    shape = np.column_stack([np.ones_like(share), share, 4.0 * share * (1.0 - share)])
    height = float(np.linalg.lstsq(shape, shifts, rcond=None)[0][2])
    height_u2 = variance * float(np.linalg.inv(shape.T @ shape)[2, 2])
    return BOW_RMS * math.sqrt(height**2 + height_u2)


def _inside(held: tuple[HeldLevel, ...]) -> tuple[HeldLevel, ...]:
    """Constant levels that lie inside the converter's range.

    Where the converter has a reference below the pin's high level, as with an own one of 3.0 V,
    the highest level lies beyond the last code, and says nothing of noise and load.
    """
    return tuple(one for one in held if not (one.counts[0] or one.counts[-1]))


def _mean(levels: FloatArray, held: HeldLevel) -> tuple[float, float]:
    """Mean level, and the variance of that mean."""
    total = max(float(held.counts.sum()), 1.0)
    mean = float(held.counts @ levels) / total
    return mean, float(held.counts @ (levels - mean) ** 2) / total**2


def _levels(counts: CodeCounts) -> _Levels:
    """Levels of each ramp beside its best straight line, and what they say together."""
    rising = np.array(counts.rising, dtype=bool)
    if min(rising.sum(), (~rising).sum()) < LEAST_RAMPS // 2:
        raise CalibrationError(
            f"{rising.sum()} rising and {(~rising).sum()} falling ramps have no scatter: two of "
            "each direction at least"
        )
    first, last = _reached(counts)
    if last - first < max(LEAST_SPAN * 2**counts.bits, 3 * EDGE_CODES):
        raise CalibrationError(
            f"the ramps cover codes {first} to {last} of {2**counts.bits}: check R, C and both "
            "pins; nothing can be said of the converter"
        )
    codes = np.arange(first + EDGE_CODES, last - EDGE_CODES + 1)
    middles = codes - 0.5
    below = np.cumsum(counts.ramps, axis=1)[:, codes - 1].astype(np.float64)
    slopes, starts = np.polyfit(middles, below.T, 1)
    if not (slopes > 1.0).all():
        raise CalibrationError(
            f"a ramp has {slopes.min():.1f} counts a step: choose slower ramps (--ramp-s)"
        )
    found = (below - starts[:, None]) / slopes[:, None] - middles
    up, down = found[rising], found[~rising]
    inl = 0.5 * (up.mean(axis=0) + down.mean(axis=0))
    u2 = _variance_of_mean(up, down)
    half = 0.5 * (up.mean(axis=0) - down.mean(axis=0))
    return _Levels(
        codes=codes,
        inl=inl,
        u=math.sqrt(u2),
        width_u=math.sqrt(_variance_of_mean(np.diff(up), np.diff(down))),
        hysteresis=math.sqrt(max(float(np.mean(half**2)) - u2, 0.0)),
        scatter=math.sqrt(0.5 * float((up.var(axis=0, ddof=1) + down.var(axis=0, ddof=1)).mean())),
        per_step=float(slopes.min()),
    )


def _variance_of_mean(up: FloatArray, down: FloatArray) -> float:
    """Variance of the mean of rising and falling ramps, pooled over all codes."""
    variances = [float(one.var(axis=0, ddof=1).mean()) / len(one) for one in (up, down)]
    return 0.25 * sum(variances)


def _reached(counts: CodeCounts) -> tuple[int, int]:
    """First and last code that came in every ramp."""
    came = counts.ramps > 0
    if not came.any(axis=1).all():
        return 0, 0
    last = came.shape[1] - 1 - came[:, ::-1].argmax(axis=1)
    return int(came.argmax(axis=1).max()), int(last.min())


def _noise(bare: Linearity, held: tuple[HeldLevel, ...], *, forced: bool) -> float | None:
    """Noise of one conversion over all constant levels of a mode, rms, in steps.

    The codes are read as their levels; a step's own width, 1/12 of its square (IEEE 1241),
    is taken off the variance.
    """
    levels = bare.levels(1)
    found = []
    for one in _inside(held):
        total = float(one.counts.sum())
        if bool(one.forced) is forced and not one.slow and total > 1.0:
            variance = _mean(levels, one)[1] * total
            found.append(max(variance - 1.0 / 12.0, 0.0))
    return math.sqrt(sum(found) / len(found)) if found else None


def expected_scatter(noise_steps: float, per_step: float) -> float:
    """Standard deviation of a level by one ramp, in steps, from noise alone.

    Of conversions evenly spread around a level, each is below it with the probability p of its
    distance; the variance of their number is the sum of p (1 - p), for Gaussian noise
    noise / sqrt(pi) a step.
    """
    return math.sqrt(noise_steps / (math.sqrt(math.pi) * per_step))


def _doubts(counts: CodeCounts, levels: _Levels, noise: float | None) -> tuple[str, ...]:
    """Why the result must not be believed."""
    first, last = _reached(counts)
    top = 2**counts.bits - 1
    missing = _missing(counts, levels)
    total = int(counts.ramps.sum())
    found = []
    if first > END_CODES or last < top - END_CODES:
        found.append(
            f"the ramps reach codes {first} to {last} only, 0 to {top} are wanted within "
            f"{END_CODES}: choose a smaller R, or remove what loads the ramp"
        )
    if levels.per_step < FEW_COUNTS:
        found.append(
            f"{levels.per_step:.1f} counts a step in one ramp, {FEW_COUNTS:g} at least are wanted: "
            "choose slower ramps (--ramp-s)"
        )
    if missing.size > MOST_MISSING:
        found.append(f"{missing.size} codes never came, {_first_few(missing)}")
    if noise is None:
        found.append("no constant level was counted, so its noise is not known")
    elif noise > MOST_NOISE:
        found.append(
            f"a noise of {noise:.1f} steps rms is no converter's: check C, the ground and what "
            "else hangs on the channel"
        )
    explained = expected_scatter(noise or 1.0, levels.per_step)
    if levels.scatter > max(MUCH_SCATTER, MOST_SCATTER * explained):
        found.append(
            f"ramps disagree by {levels.scatter:.2f} steps rms, noise explains {explained:.2f}: "
            "something else moves the level (mains, a loose wire, the supply), or C is too small "
            "to smooth the pulses"
        )
    if levels.hysteresis > MOST_HYSTERESIS:
        found.append(
            f"rising and falling ramps differ by {2 * levels.hysteresis:.1f} steps rms: C changes "
            "with voltage or creeps (film or C0G does not), or the ramps are too fast for it"
        )
    if counts.errors > MOST_ERRORS * max(total, 1):
        found.append(f"{counts.errors} of {total} conversions did not settle: choose a smaller R")
    return tuple(found)


def _load_doubts(counts: CodeCounts, load: float | None) -> tuple[str, ...]:
    if load is None and counts.conversion_rate_hz > LOW_RATE_HZ:
        return ("the load of the conversions was not measured",)
    if load is not None and load > MOST_LOAD:
        return (
            f"the conversions bend the ramp by {load:.2f} steps rms: choose a smaller R, and look "
            "what else hangs on the channel",
        )
    return ()


def _remarks(counts: CodeCounts, levels: _Levels) -> tuple[str, ...]:
    missing = _missing(counts, levels)
    found = []
    if 0 < missing.size <= MOST_MISSING:
        found.append(f"{missing.size} codes never came: {_first_few(missing)}")
    if counts.errors:
        found.append(f"{counts.errors} conversions did not settle and are not counted")
    return tuple(found)


def _missing(counts: CodeCounts, levels: _Levels) -> npt.NDArray[np.int64]:
    """Codes that never came although their neighbours did."""
    inside = levels.codes[:-1]
    return np.asarray(inside[counts.ramps[:, inside].sum(axis=0) == 0])


def _first_few(codes: npt.NDArray[np.int64]) -> str:
    shown = ", ".join(str(code) for code in codes[:MOST_MISSING])
    return f"{shown} and so on" if codes.size > MOST_MISSING else shown
