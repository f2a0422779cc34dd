"""Peak: how far the largest value of a curve lies from the peak of what the cell felt.

The measurand (JCGM 200:2012, 2.3) is the largest value of the cell's force in the channel
frequency class that is named with it; where the load path let go, of the force up to that.
The class is a part of it and takes nothing away. What takes something away or adds
something is one-sided: it is estimated and corrected, and what is left of it is a part of
the uncertainty (JCGM 100:2008, 3.2.4 and 4.3; JCGM 101:2008, 6.4).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

from tautlog.analysis.analog_filter import pole_hz
from tautlog.model.uncertainty import Part, rectangular, sampling_loss

FloatArray = npt.NDArray[np.float64]

FAR_SIGMAS = 8.0  # values so far below the top are hardly ever the largest; own choice
MOST_VALUES = 500  # reckoned with; more are counted by their neighbours; own choice
AFTER_PARABOLA = 0.2  # of what falls between samples, left by a parabola: n >= 3 (tests)
# Of the largest loss between samples: mean, and standard deviation of a square of something
# that lies anywhere in its range.
LOSS_MEAN, LOSS_SD = 1.0 / 3.0, math.sqrt(4.0 / 45.0)
SIGNIFICANT = 0.1  # of the standard uncertainty: a smaller one is no use to anybody; own choice


@dataclass(frozen=True)
class Top:
    """The top of a pulse.

    Attributes
    ----------
    curve_n, smooth_n : ndarray of float64, shape (n_samples,)
        The curve around the contact, positive, up to a loss of load; and the same without
        its quick noise, for its shape.
    place : int
        Of the largest value of the curve.
    rate_hz : float
        Samples per second.
    noise_n, apart_s : float
        Rms of the noise of one value of the curve; time after which it is another noise.
    bandwidth_hz : float
        Of the amplifier; 0 where nobody knows.
    length_s : float
        Of the half-sine of the same impulse.
    poles : int
        Of the amplifier; 0 where nobody knows.
    slope_n_per_s : float
        How fast the force rose when the load path let go; 0 where it did not.
    """

    curve_n: FloatArray
    smooth_n: FloatArray
    place: int
    rate_hz: float
    noise_n: float
    apart_s: float
    bandwidth_hz: float
    length_s: float
    slope_n_per_s: float = 0.0
    poles: int = 0

    @property
    def height_n(self) -> float:
        """Largest value of the curve."""
        return float(self.curve_n[self.place])


@dataclass(frozen=True)
class Correction:
    """What has to be added to the largest value, and what is not known of it."""

    value_n: float
    part: Part


def corrections(top: Top) -> tuple[Correction, ...]:
    """All that lies between the largest value of a curve and the peak."""
    found = [_noise(top), _between_samples(top)]
    if top.bandwidth_hz > 0.0:
        found.append(_amplifier(top))
    if top.slope_n_per_s > 0.0:
        found.append(_lag_at_break(top))
    return tuple(found)


def largest_of_noisy(below_n: FloatArray, noise_n: float) -> tuple[float, float]:
    """Mean and standard deviation of the largest of independent, normal values.

    Parameters
    ----------
    below_n : ndarray of float64, shape (n,)
        How far the mean of each lies below the highest mean.
    noise_n : float
        Standard deviation of each.

    Returns
    -------
    float, float
        Over the highest mean. From the product of their distribution functions.
    """
    if noise_n <= 0.0:
        return 0.0, 0.0
    near = np.sort(below_n[below_n < FAR_SIGMAS * noise_n]) / noise_n
    each = -(-near.size // MOST_VALUES)
    z = np.linspace(-6.0, 8.0, 561)
    chance = np.exp(log_ndtr(z[:, None] + near[each // 2 :: each]).sum(axis=1) * each)
    weight = np.gradient(chance)
    mean = float(np.sum(z * weight) / np.sum(weight))
    spread = float(np.sum((z - mean) ** 2 * weight) / np.sum(weight))
    return noise_n * mean, noise_n * math.sqrt(max(spread, 0.0))


def _noise(top: Top) -> Correction:
    """The largest of many noisy values lies above the pulse."""
    step = max(round(top.apart_s * top.rate_hz), 1)
    mean, sd = largest_of_noisy(_below(top, step), top.noise_n)
    wider, _ = largest_of_noisy(_below(top, 2 * step), top.noise_n)
    u = math.hypot(sd, rectangular(mean - wider))
    basis = "scatter of the largest noisy value at the top; less with half as many of them"
    return Correction(-mean, Part("noise and peak picking", u, basis=basis))


def _below(top: Top, step: int) -> FloatArray:
    """How far the values next to the largest lie below the top, a step apart."""
    if top.slope_n_per_s > 0.0 and top.place >= top.curve_n.size - 2:
        steps = np.arange(max(top.place // step, 1))
        return np.asarray(top.slope_n_per_s * step / top.rate_hz * steps, np.float64)
    crest = int(np.argmax(top.smooth_n))
    values = top.smooth_n[crest] - top.smooth_n[crest % step :: step]
    return np.asarray(np.sort(values), np.float64)


def _between_samples(top: Top) -> Correction:
    """What of the crest lies between two samples."""
    most = sampling_loss(top.length_s * top.rate_hz) * top.height_n
    place, y = top.place, top.curve_n
    if 0 < place < y.size - 1 and most > top.noise_n:
        before, here, after = y[place - 1 : place + 2]
        bend = 2.0 * here - before - after
        if bend > 0.0:
            found = min(float((after - before) ** 2 / (8.0 * bend)), most)
            left = rectangular(AFTER_PARABOLA * most)
            return Correction(found, Part("sampling", left, basis="left by a parabola"))
    u = LOSS_SD * most
    return Correction(
        LOSS_MEAN * most, Part("sampling", u, basis="1 - cos(pi / (2 n)) for n samples a pulse")
    )


def _amplifier(top: Top) -> Correction:
    """What the amplifier took: nothing to what its poles take a second time.

    Equal poles take the most of all with the same bandwidth, and one more than several.
    """
    from scipy.signal import lfilter  # late: see `filters`

    pole = math.exp(-2.0 * math.pi * pole_hz(top.bandwidth_hz, top.poles) / top.rate_hz)
    start = float(top.smooth_n[0])
    again = top.smooth_n - start
    for _ in range(max(top.poles, 1)):
        again = lfilter([1.0 - pole], [1.0, -pole], again)
    again = start + again
    half = 0.5 * max(float(top.smooth_n.max() - again.max()), 0.0)
    if top.slope_n_per_s > 0.0:
        half = 0.0  # its lag at the break is told apart
    return Correction(
        half,
        Part("amplifier", rectangular(half), basis=f"none to {_poles(top.poles)}, taken twice"),
    )


def _poles(poles: int) -> str:
    return f"{poles} equal poles" if poles > 1 else "one pole"


def _lag_at_break(top: Top) -> Correction:
    """The force went on rising for up to a sample, and the amplifier lags behind it.

    All of that is missing where the cell is stiff, nothing where it rounds the break off.
    """
    lag_s = 1.0 / top.rate_hz
    if top.bandwidth_hz > 0.0:
        # Two poles of the same bandwidth lag sqrt 2 times as long as one: in between.
        lag_s += 1.2 / (2.0 * math.pi * top.bandwidth_hz)
    half = 0.5 * top.slope_n_per_s * lag_s
    basis = "nothing to one sample and the amplifier's lag, at the last slope"
    return Correction(half, Part("lag at the break", rectangular(half), basis=basis))


def significant(found: tuple[Correction, ...], combined_u: float) -> float:
    """Sum of the corrections, or 0 where nobody would see it."""
    total = sum(correction.value_n for correction in found)
    return total if abs(total) > SIGNIFICANT * combined_u else 0.0
