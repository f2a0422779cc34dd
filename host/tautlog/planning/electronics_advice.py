"""Advice: gain, filter, rate and class for the expected pulse.

A slow converter calibrates perfectly with dead weights and misses the event: only the expected
pulse shows how fast is fast enough.
"""

from __future__ import annotations

from dataclasses import dataclass

from tautlog.analysis.analog_filter import judge_filter
from tautlog.analysis.filters import CLASSES, RATE_PER_CLASS
from tautlog.board.shunt import shunt_step_mv_per_v
from tautlog.model.display_units import SI, Units
from tautlog.model.limits import BANDWIDTH_PER_PULSE, HEADROOM
from tautlog.model.load_path import PathCheck
from tautlog.model.shown import shown
from tautlog.model.steps import steps_of
from tautlog.model.uncertainty import one_pole_loss, sampling_loss
from tautlog.planning.steps_advice import advise_on_steps

# Class x length of a half-sine at which the class takes 0.1 % of its peak (own computation,
# from the response 1 / (1 + (f / (2.0775 C))**4)).
CLASS_TIMES_LENGTH = 1.1174
SLOW_RATES_HZ = (10.0, 80.0, 320.0)  # of converters made for weighing
SAMPLES_PER_BANDWIDTH = 30.0  # for less than 1 % of the peak; common practice
COUNTS_AT_PEAK = 1000.0  # fewer are too coarse for the hanging check; common practice


@dataclass(frozen=True)
class Electrics:
    """Cell, amplifier and converter; None for a value that is not known.

    Attributes
    ----------
    rated_n, sensitivity_mv_per_v, excitation_v : float or None
        Data of the cell.
    gain, zero_v : float or None
        Data of the amplifier.
    rail_high_v, reference_v : float
        Largest output; full scale of the converter.
    converter_bits : int
        Resolution of the converter.
    bandwidth_hz : float
        Bandwidth of amplifier and filter; 0 if unknown.
    filter_poles : int
        Poles of both together; 0 if unknown.
    sample_rate_hz, conversion_rate_hz : float
        Samples per second that are stored; conversions that they are made of.
    converter : str
        Whose steps the readings are corrected by, see `Calibration`.
    weights_n : float
        Heaviest weight of the calibration; 0 if it is not known.
    """

    rated_n: float | None = None
    sensitivity_mv_per_v: float | None = None
    excitation_v: float | None = None
    gain: float | None = None
    zero_v: float | None = None
    rail_high_v: float = 3.2
    reference_v: float = 3.3
    converter_bits: int = 12
    bandwidth_hz: float = 0.0
    filter_poles: int = 0
    sample_rate_hz: float = 62_500.0
    conversion_rate_hz: float = 500_000.0
    converter: str = ""
    weights_n: float = 0.0

    @property
    def bridge_volt_per_n(self) -> float | None:
        """Bridge output of one newton: sensitivity x excitation / rated load."""
        if not self.rated_n or not self.sensitivity_mv_per_v or not self.excitation_v:
            return None
        return 1e-3 * self.sensitivity_mv_per_v * self.excitation_v / self.rated_n

    @property
    def newton_per_count(self) -> float | None:
        """Force of one step of the converter."""
        bridge = self.bridge_volt_per_n
        if bridge is None or not self.gain:
            return None
        return self.reference_v / 2.0**self.converter_bits / (bridge * self.gain)


def gain_for(electrics: Electrics, force_n: float) -> float | None:
    """Largest gain at which a force still fits between zero and rail, or None."""
    bridge = electrics.bridge_volt_per_n
    if bridge is None or force_n <= 0:
        return None
    return (electrics.rail_high_v - (electrics.zero_v or 0.0)) / (bridge * force_n)


def class_for(length_s: float) -> int:
    """Lowest class that takes at most 0.1 % off a half-sine's peak; else the highest class."""
    return next((cfc for cfc in CLASSES if cfc * length_s >= CLASS_TIMES_LENGTH), CLASSES[-1])


def advise(
    electrics: Electrics, peak_n: float, length_s: float, units: Units = SI
) -> list[PathCheck]:
    """Check the measuring chain against a pulse.

    Parameters
    ----------
    electrics : Electrics
        The chain.
    peak_n, length_s : float
        Highest peak to expect; length of the pulse, taut to slack.
    units : Units
        Units in which it is said.
    """
    return [
        *_of_force(electrics, peak_n, units),
        *_of_steps(electrics),
        *_of_time(electrics, length_s),
    ]


def _of_steps(electrics: Electrics) -> list[PathCheck]:
    step_n = electrics.newton_per_count
    step_v = electrics.reference_v / 2.0**electrics.converter_bits
    weights_v = electrics.weights_n * step_v / step_n if step_n else 0.0
    steps = steps_of(electrics.converter, electrics.converter_bits)
    return advise_on_steps(steps, step_v, electrics.zero_v, weights_v)


def _of_force(electrics: Electrics, peak_n: float, units: Units) -> list[PathCheck]:
    checks = []
    wanted_n = HEADROOM * peak_n
    if electrics.rated_n:
        share = shown(100.0 * peak_n / electrics.rated_n, "%", (100.0 / HEADROOM,))
        checks.append(
            PathCheck(
                "cell-range",
                wanted_n <= electrics.rated_n,
                f"cell: {units.text(peak_n, 'N')} is {share.text} of its rated "
                f"{units.text(electrics.rated_n, 'N')}; at most {share.level()} is advised",
            )
        )
    best, step = gain_for(electrics, wanted_n), electrics.newton_per_count
    if best is None:
        checks.append(
            PathCheck(
                "gain-unknown",
                False,
                "gain: state rated_n, sensitivity_mv_per_v and excitation_v of the cell",
            )
        )
    elif electrics.gain is None or step is None:
        checks.append(
            PathCheck("gain", True, f"gain: up to {best:.0f} leaves {HEADROOM:g} x range")
        )
    else:
        counts = shown(peak_n / step, "", (COUNTS_AT_PEAK,))
        gain = shown(electrics.gain, "", (best,))
        checks.append(
            PathCheck(
                "gain",
                electrics.gain <= best and peak_n / step >= COUNTS_AT_PEAK,
                f"gain: {gain.text} gives {units.text(step, 'N', '.3g')} a count, {counts.text} "
                f"counts at the peak; up to {gain.level()} leaves {HEADROOM:g} x range",
            )
        )
    return checks


def _of_time(electrics: Electrics, length_s: float) -> list[PathCheck]:
    needed_hz = BANDWIDTH_PER_PULSE / length_s
    cfc = class_for(length_s)
    sample_rate_hz = electrics.sample_rate_hz
    wanted_hz = max(RATE_PER_CLASS * cfc, SAMPLES_PER_BANDWIDTH * needed_hz)
    samples = sample_rate_hz * length_s
    rate = shown(sample_rate_hz, "samples/s", (wanted_hz,))
    return [
        PathCheck(
            "rate",
            sample_rate_hz >= wanted_hz,
            f"rate: {rate.text} give {samples:.0f} samples in the pulse (at most "
            f"{100 * sampling_loss(samples):.2g} % of the peak lost); {rate.level()} are enough",
        ),
        PathCheck("class", True, f"class: {cfc} is enough for a pulse of {1000 * length_s:.0f} ms"),
        _anti_alias(electrics, length_s, needed_hz),
        *_slow_converters(length_s),
    ]


def _anti_alias(electrics: Electrics, length_s: float, needed_hz: float) -> PathCheck:
    """Whether amplifier and filter pass the pulse and its class, and keep out what would fold."""
    corner_hz = electrics.bandwidth_hz
    if corner_hz <= 0:
        return PathCheck(
            "anti-alias",
            False,
            "amplifier: its bandwidth is not known; an analog low-pass of two poles near 2 kHz "
            "before the converter is usual",
        )
    loss = one_pole_loss(corner_hz, length_s)
    found = judge_filter(
        corner_hz, electrics.filter_poles, electrics.conversion_rate_hz, class_for(length_s)
    )
    return PathCheck(
        "anti-alias",
        needed_hz <= corner_hz and found.flat and found.keeps_out,
        f"amplifier: takes {100 * loss:.2g} % off the peak, at least {needed_hz:.0f} Hz are "
        f"advised; {found.text}",
    )


def _slow_converters(length_s: float) -> list[PathCheck]:
    """What converters made for weighing would lose of the peak, if that matters."""
    losses = [(rate, sampling_loss(max(rate * length_s, 1.0))) for rate in SLOW_RATES_HZ]
    slow = [f"{100 * loss:.0f} % at {rate:g}" for rate, loss in losses if loss > 0.005]
    if not slow:
        return []
    return [
        PathCheck(
            "slow-converter",
            True,
            "a converter made for weighing would calibrate perfectly and lose up to "
            + ", ".join(slow)
            + " samples/s",
        )
    ]


def shunt_step_n(electrics: Electrics, bridge_ohm: float, shunt_ohm: float) -> float | None:
    """Force that a shunt simulates, by the cell's data sheet, or None."""
    if not electrics.rated_n or not electrics.sensitivity_mv_per_v:
        return None
    step = shunt_step_mv_per_v(bridge_ohm, shunt_ohm)
    return electrics.rated_n * step / electrics.sensitivity_mv_per_v
