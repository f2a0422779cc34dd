"""Readiness: whether the instrument's present readings can be trusted with a drop.

One guard, `findings`, on one object, `Facts`. `health` shows its findings, `drop` and
`rehearse` refuse by them before asking for the phrase, and `check` lists them. The board
applies the same limits to its own samples when it arms (`arm_fields`).

A zero of 0 V, as in older records and files, means "not stated", like None: no amplifier on a
single supply rests there, and one that does is refused at its lower limit. If no calibration
measured the zero, that of [amplifier] in campaign.toml counts.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable
from dataclasses import dataclass

from tautlog.board.health import Health, read_health, read_shunt_step
from tautlog.board.session import Session
from tautlog.board.shunt import Shunt
from tautlog.errors import CalibrationError, NotReadyError
from tautlog.model.calibration import Calibration
from tautlog.model.stream import Instrument
from tautlog.model.trace import DropSetup

# Fractions of the span between the limits. The zero balance of a bridge is commonly within 1 to
# 2 % of its rated output (from memory, data sheets of cells); twice that, for drift and for the
# parts that hang from the cell. An open bridge or a hanging sled is farther off on most rigs.
ZERO_REFUSED = 0.05
ZERO_DOUBTED = 0.02
# Rms of one conversion, in steps. Quantisation alone is 0.29 (Bennett, Bell System Tech. J.
# 27 (1948) 446); a Pico's own converter, on a quiet source, 0.97 at least (a published
# characterisation, pico-adc.markomo.me). Below this, no converter is working on a live
# signal.
LEAST_NOISE_STEPS = 0.8
# The range of 16384 samples of normal noise is 7.9 standard deviations on average (order
# statistics, checked by simulation in the tests).
SPAN_OF_NOISE = 7.5
# Rms, fraction of the target: ten times the limit of `check`. Beyond it no verdict is possible.
MOST_NOISE = 0.05
# Rms, fraction of the span between the limits, if no target is given.
MOST_NOISE_SPAN = 0.02
# Crystals are within 0.01 %; the stamps of half a second of blocks give the rate to 0.02 %.
RATE_OFF = 0.005
# Highest supply of the converter of an RP2040 or RP2350 (ADC_AVDD, data sheets; from memory).
MOST_REFERENCE_V = 3.63
# A shunt step below this fraction of the span between the limits counts as none.
LEAST_SHUNT = 0.01


@dataclass(frozen=True)
class Facts:
    """The facts before arming.

    Attributes
    ----------
    health : Health
        The present readings.
    calibration : Calibration
        The calibration of these readings.
    instrument : Instrument
        The board, from its greeting.
    target_n, upper_n : float or None
        Target force; largest force that must still be measured.
    shunt : Shunt or None
        The shunt resistor, if one is fitted.
    shunt_step_v : float or None
        Its step, measured just now.
    stated_zero_v : float or None
        The amplifier's output without force, as stated in campaign.toml.
    """

    health: Health
    calibration: Calibration
    instrument: Instrument
    target_n: float | None = None
    upper_n: float | None = None
    shunt: Shunt | None = None
    shunt_step_v: float | None = None
    stated_zero_v: float | None = None

    @property
    def zero_v(self) -> float | None:
        """Output without force, measured or else stated; None if neither."""
        return known_zero_v(self.calibration, self.stated_zero_v)


@dataclass(frozen=True)
class ReadinessFinding:
    """A fault, or a fact that cannot be known.

    Attributes
    ----------
    code : str
        Short name, for programs.
    refuses : bool
        It forbids the drop; otherwise it is a doubt, shown and kept in the record.
    seen, expected, mend : str
        What was seen, what was expected and how to mend it.
    """

    code: str
    refuses: bool
    seen: str
    expected: str
    mend: str

    @property
    def text(self) -> str:
        """The finding in one line."""
        return f"{self.seen}, {self.expected}: {self.mend}"


def read_facts(
    session: Session,
    calibration: Calibration,
    setup: DropSetup,
    shunt: Shunt | None,
    on_health: Callable[[Health], None] = lambda health: None,
    *,
    stated_zero_v: float | None,
) -> Facts:
    """Read the instrument of a greeted session, and the shunt's step.

    Parameters
    ----------
    on_health : callable
        Called with the health before the shunt is read, which takes a while.
    stated_zero_v : float or None
        See `Facts`.

    Raises
    ------
    LinkError, RefusedError
        See `health.read_health`.
    """
    health = read_health(session, calibration)
    on_health(health)
    step_v = None
    if shunt is not None:
        with contextlib.suppress(CalibrationError):  # an unsteady reading gives no step
            step_v = read_shunt_step(session, calibration)
    return Facts(
        health,
        calibration,
        session.instrument,
        setup.target_n,
        setup.upper_n,
        shunt,
        step_v,
        stated_zero_v,
    )


def known_zero_v(calibration: Calibration, stated_v: float | None) -> float | None:
    """Output without force, or None if it was neither measured nor stated."""
    return calibration.zero_v or stated_v or None


def level_band_v(calibration: Calibration, stated_v: float | None) -> tuple[float, float]:
    """The lowest and highest voltage at which a chain without force may rest."""
    low_v, high_v = calibration.working_range_v()
    zero_v = known_zero_v(calibration, stated_v)
    if zero_v is None:
        return low_v, high_v
    width_v = ZERO_REFUSED * (calibration.rail_high_v - calibration.rail_low_v)
    return max(low_v, zero_v - width_v), min(high_v, zero_v + width_v)


def least_noise_v(calibration: Calibration, reduction: int) -> float:
    """Smallest rms noise of a working chain, in V."""
    return LEAST_NOISE_STEPS * calibration.volt_per_count(1) / math.sqrt(reduction)


def arm_fields(
    calibration: Calibration, reduction: int, stated_zero_v: float | None
) -> dict[str, int]:
    """The same limits in sample values, for the board's `arm`."""
    step_v = calibration.volt_per_count(reduction)
    low_v, high_v = calibration.working_range_v()
    level_low_v, level_high_v = level_band_v(calibration, stated_zero_v)
    return {
        "rail_low": max(math.floor(low_v / step_v), 0),
        "rail_high": max(math.ceil(high_v / step_v), 0),
        "level_low": max(math.floor(level_low_v / step_v), 0),
        "level_high": max(math.ceil(level_high_v / step_v), 0),
        "least_span": math.ceil(SPAN_OF_NOISE * least_noise_v(calibration, reduction) / step_v),
    }


def findings(facts: Facts) -> list[ReadinessFinding]:
    """All findings that forbid a drop, and all doubts; refusals first."""
    found = [finding for rule in _RULES for finding in rule(facts)]
    if any(finding.code == "at-rail" for finding in found):
        # At a limit, noise and room tell nothing new.
        found = [finding for finding in found if finding.code not in ("too-quiet", "no-room")]
    return sorted(found, key=lambda finding: not finding.refuses)


def refuse(found: list[ReadinessFinding]) -> None:
    """Raise if any finding forbids the drop.

    Raises
    ------
    NotReadyError
        With all reasons.
    """
    reasons = tuple(finding.text for finding in found if finding.refuses)
    if reasons:
        raise NotReadyError("no drop with this chain: " + "; ".join(reasons), reasons=reasons)


def _level(facts: Facts) -> list[ReadinessFinding]:
    level_v, calibration = facts.health.level_v, facts.calibration
    low_v, high_v = calibration.working_range_v()
    if not low_v < level_v < high_v:
        return [
            ReadinessFinding(
                "at-rail",
                True,
                f"the signal is at {level_v:.3f} V",
                f"the amplifier works between {low_v:.3f} V and {high_v:.3f} V",
                "it is at its limit, or dead: check supply, bridge wires and zero setting",
            )
        ]
    zero_v = facts.zero_v
    if zero_v is None:
        return [
            ReadinessFinding(
                "zero-unknown",
                False,
                f"the signal rests at {level_v:.3f} V",
                "the voltage without force is not stated",
                "calibrate, or enter zero_v under [calibration] or [amplifier]",
            )
        ]
    span_v = calibration.rail_high_v - calibration.rail_low_v
    off = abs(level_v - zero_v) / span_v
    if off <= ZERO_DOUBTED:
        return []
    return [
        ReadinessFinding(
            "off-zero" if off > ZERO_REFUSED else "zero-moved",
            off > ZERO_REFUSED,
            f"the signal rests at {level_v:.3f} V",
            f"expected {zero_v:.3f} V without force, within {ZERO_REFUSED * span_v:.3f} V",
            "look for a broken bridge wire or a load on the cell; if the zero has moved, "
            "calibrate again",
        )
    ]


def _noise(facts: Facts) -> list[ReadinessFinding]:
    health, calibration, board = facts.health, facts.calibration, facts.instrument
    least_v = least_noise_v(calibration, board.reduction)
    if not health.noise_v >= least_v:
        return [
            ReadinessFinding(
                "too-quiet",
                True,
                f"the signal is too still, {1e3 * health.noise_v:.3f} mV rms",
                f"a working chain shows {1e3 * least_v:.3f} mV or more",
                "check the bridge's wires and supply: only the converter's own noise is seen",
            )
        ]
    span_v = calibration.rail_high_v - calibration.rail_low_v
    most_n = MOST_NOISE_SPAN * span_v * abs(calibration.newton_per_volt)
    if facts.target_n:
        most_n = min(most_n, MOST_NOISE * facts.target_n)
    if health.noise_n <= most_n:
        return []
    return [
        ReadinessFinding(
            "too-noisy",
            True,
            f"noise of {health.noise_n:.4g} N rms",
            f"at most {most_n:.4g} N for this drop",
            "check shield, ground and gain, and that the calibration is in newtons",
        )
    ]


def _room(facts: Facts) -> list[ReadinessFinding]:
    room_n = facts.health.span_n
    if facts.upper_n is None:
        return [
            ReadinessFinding(
                "room-unknown",
                False,
                f"{room_n:.0f} N of tension fit below the far limit",
                "no target is given, so it may not be enough",
                "give --target",
            )
        ]
    if room_n >= facts.upper_n:
        return []
    return [
        ReadinessFinding(
            "no-room",
            True,
            f"{room_n:.0f} N of tension fit below the far limit",
            f"this drop may reach {facts.upper_n:.0f} N",
            "lower the gain, correct the polarity, or lower the target",
        )
    ]


def _rate(facts: Facts) -> list[ReadinessFinding]:
    stated_hz, seen_hz = facts.instrument.sample_rate_hz, facts.health.measured_rate_hz
    if seen_hz is not None and abs(seen_hz / stated_hz - 1.0) <= RATE_OFF:
        return []
    seen = "the sample rate cannot be measured" if seen_hz is None else f"{seen_hz:.6g} samples/s"
    return [
        ReadinessFinding(
            "rate-off",
            True,
            seen,
            f"the board states {stated_hz:.6g} samples/s, expected within {100 * RATE_OFF:g} %",
            "check the board's clock and config.py",
        )
    ]


def _window(facts: Facts) -> list[ReadinessFinding]:
    board = facts.instrument
    if board.guard_after_s >= board.guard_least_s:
        return []
    return [
        ReadinessFinding(
            "window-short",
            True,
            f"the board's memory guards {board.guard_after_s:g} s after the release",
            f"its config.py asks for {board.guard_least_s:g} s",
            "lower GUARD_AFTER_S, use fewer channels, or sum more conversions (REDUCTION)",
        )
    ]


def _lost(facts: Facts) -> list[ReadinessFinding]:
    now, before = facts.health.lost_now, facts.health.lost
    if not now and not before:
        return []
    seen = f"{now} conversions lost in this reading" if now else f"{before} lost since power-up"
    mend = "lower the rate in config.py, or power the board off and on and read again"
    return [ReadinessFinding("conversions-lost", bool(now), seen, "none may be lost", mend)]


def _shunt(facts: Facts) -> list[ReadinessFinding]:
    step_v, shunt, calibration = facts.shunt_step_v, facts.shunt, facts.calibration
    if shunt is None:
        return [
            ReadinessFinding(
                "shunt-none",
                False,
                "no shunt resistor is fitted or named",
                "only its step proves that the bridge responds",
                "fit one and enter shunt_ohm under [cell], or give --shunt",
            )
        ]
    least_v = LEAST_SHUNT * (calibration.rail_high_v - calibration.rail_low_v)
    if step_v is None or not abs(step_v) >= least_v:
        seen = "not read" if step_v is None else f"{1e3 * step_v:.1f} mV"
        expected = f"{least_v:.3f} V or more" if shunt.expected_v is None else shunt.text
        return [
            ReadinessFinding(
                "shunt-absent",
                True,
                f"the shunt makes no step ({seen})",
                f"{expected} expected",
                "the bridge does not respond: check its wires, its supply and the shunt's switch",
            )
        ]
    if shunt.expected_v is None:
        return [
            ReadinessFinding(
                "shunt-unjudged",
                False,
                f"shunt step {step_v:.4f} V",
                "its expected size is not stated",
                "enter shunt_ohm, bridge_ohm, excitation_v and gain in campaign.toml",
            )
        ]
    state = shunt.judge(step_v)
    if state == "good":
        return []
    return [
        ReadinessFinding(
            "shunt-off",
            state == "invalid",
            f"shunt step {step_v:.4f} V",
            f"{shunt.text} expected",
            "gain, excitation or wiring has changed: find out which",
        )
    ]


def _converter(facts: Facts) -> list[ReadinessFinding]:
    """Check how counts become volts: the cell's data sheet cannot show an error there."""
    calibration, board = facts.calibration, facts.instrument
    found = []
    if calibration.converter_bits != board.converter_bits:
        found.append(
            ReadinessFinding(
                "converter-bits",
                True,
                f"the calibration assumes {calibration.converter_bits} bits",
                f"the board's converter has {board.converter_bits}",
                "correct converter_bits and calibrate again",
            )
        )
    if "RP2" in board.board and calibration.reference_v > MOST_REFERENCE_V:
        found.append(
            ReadinessFinding(
                "reference-impossible",
                True,
                f"the calibration assumes a reference of {calibration.reference_v:g} V",
                f"this board's converter takes at most {MOST_REFERENCE_V} V",
                "measure the reference, correct reference_v and calibrate again",
            )
        )
    return found


_RULES = (_level, _noise, _room, _rate, _lost, _shunt, _converter, _window)
