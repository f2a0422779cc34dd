"""Readiness: whether what the instrument reads now can be trusted with a drop.

One guard, `findings`, on one object, `Facts`. `health` shows what it says, `drop` and
`rehearse` refuse by it before anybody is asked for the phrase, `check` puts it on the list.
The board holds the same limits against its own samples when it arms (`arm_fields`).

A zero of 0 V, as older records and files have it, means that nobody said one, like None: no
amplifier on a single supply rests there, and one that did is refused at its lower limit. Where
no calibration measured one, that of [amplifier] in campaign.toml counts.
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

# Of the same span. The zero balance of a bridge is commonly within 1 to 2 % of its rated
# output (from memory, data sheets of cells); twice that, for drift and for what hangs from
# the cell. An open bridge or a hanging sled lies farther off on most rigs.
ZERO_REFUSED = 0.05
ZERO_DOUBTED = 0.02
# Rms of one conversion, in steps. Quantisation alone is 0.29 (Bennett, Bell System Tech. J.
# 27 (1948) 446); a Pico's own converter, on a quiet source, 0.97 at least (a published
# characterisation, pico-adc.markomo.me). Less than this and no converter is at work on a
# live signal.
LEAST_NOISE_STEPS = 0.8
# Smallest to largest of 16384 samples of a normal noise are 7.9 standard deviations apart in
# the mean (order statistics, checked by simulation in the tests).
SPAN_OF_NOISE = 7.5
# Rms, of the target: ten times what `check` wants. No verdict can be reached beyond it.
MOST_NOISE = 0.05
# Rms, of the span between the limits, where no target is given.
MOST_NOISE_SPAN = 0.02
# Crystals keep 0.01 %; the stamps of half a second of blocks tell the rate to 0.02 %.
RATE_OFF = 0.005
# Highest supply of the converter of an RP2040 or RP2350 (ADC_AVDD, data sheets; from memory).
MOST_REFERENCE_V = 3.63
# A shunt step smaller than this share of the span between the limits is none.
LEAST_SHUNT = 0.01


@dataclass(frozen=True)
class Facts:
    """What is known before arming.

    Attributes
    ----------
    health : Health
        Measured just now.
    calibration : Calibration
        What it is read by.
    instrument : Instrument
        As the board greeted.
    target_n, upper_n : float or None
        Force to be reached; the largest that must still be told.
    shunt : Shunt or None
        The resistor, where one is fitted.
    shunt_step_v : float or None
        The step that it made just now.
    stated_zero_v : float or None
        Output without a force as campaign.toml states it of the amplifier.
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
        """Output without a force, as it was measured, or else stated; None where nobody did."""
        return known_zero_v(self.calibration, self.stated_zero_v)


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong, or that nobody can know.

    Attributes
    ----------
    code : str
        For programs.
    refuses : bool
        No drop so; else it is a doubt, told and kept in the record.
    seen, expected, mend : str
        In plain words.
    """

    code: str
    refuses: bool
    seen: str
    expected: str
    mend: str

    @property
    def text(self) -> str:
        """All of it in one line."""
        return f"{self.seen}, {self.expected}: {self.mend}"


def read_facts(
    session: Session,
    calibration: Calibration,
    setup: DropSetup,
    shunt: Shunt | None,
    told: Callable[[Health], None] = lambda health: None,
    *,
    stated_zero_v: float | None,
) -> Facts:
    """Read the instrument of a session that was greeted, and the shunt's step.

    Parameters
    ----------
    told : callable
        Gets the health before the shunt is read, which takes a moment.
    stated_zero_v : float or None
        See `Facts`.

    Raises
    ------
    LinkError, RefusedError
        See `health.read_health`.
    """
    health = read_health(session, calibration)
    told(health)
    step_v = None
    if shunt is not None:
        with contextlib.suppress(CalibrationError):  # not steady is not read
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
    """Output without a force, or None where nobody measured or said it."""
    return calibration.zero_v or stated_v or None


def level_band_v(calibration: Calibration, stated_v: float | None) -> tuple[float, float]:
    """Between which voltages a chain without a force must rest, in V."""
    low_v, high_v = calibration.working_range_v()
    zero_v = known_zero_v(calibration, stated_v)
    if zero_v is None:
        return low_v, high_v
    width_v = ZERO_REFUSED * (calibration.rail_high_v - calibration.rail_low_v)
    return max(low_v, zero_v - width_v), min(high_v, zero_v + width_v)


def least_noise_v(calibration: Calibration, reduction: int) -> float:
    """Least rms of a sample of a living chain, in V."""
    return LEAST_NOISE_STEPS * calibration.volt_per_count(1) / math.sqrt(reduction)


def arm_fields(
    calibration: Calibration, reduction: int, stated_zero_v: float | None
) -> dict[str, int]:
    """The same limits in sample values, as the board's `arm` takes them."""
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


def findings(facts: Facts) -> list[Finding]:
    """Everything that forbids a drop, and every doubt; refusals first."""
    found = [finding for rule in _RULES for finding in rule(facts)]
    if any(finding.code == "at-rail" for finding in found):
        # A limit says nothing of noise, and of room only what is known already.
        found = [finding for finding in found if finding.code not in ("too-quiet", "no-room")]
    return sorted(found, key=lambda finding: not finding.refuses)


def refuse(found: list[Finding]) -> None:
    """Raise if any finding forbids the drop.

    Raises
    ------
    NotReadyError
        With every reason at once.
    """
    reasons = tuple(finding.text for finding in found if finding.refuses)
    if reasons:
        raise NotReadyError("no drop with this chain: " + "; ".join(reasons), reasons=reasons)


def _level(facts: Facts) -> list[Finding]:
    level_v, calibration = facts.health.level_v, facts.calibration
    low_v, high_v = calibration.working_range_v()
    if not low_v < level_v < high_v:
        return [
            Finding(
                "at-rail",
                True,
                f"the signal stands at {level_v:.3f} V",
                f"between {low_v:.3f} V and {high_v:.3f} V the amplifier can work",
                "it is at its limit, or dead: look at supply, bridge wires and zero setting",
            )
        ]
    zero_v = facts.zero_v
    if zero_v is None:
        return [
            Finding(
                "zero-unknown",
                False,
                f"the signal rests at {level_v:.3f} V",
                "nobody said at what voltage it should",
                "calibrate, or enter zero_v under [calibration] or [amplifier]",
            )
        ]
    span_v = calibration.rail_high_v - calibration.rail_low_v
    off = abs(level_v - zero_v) / span_v
    if off <= ZERO_DOUBTED:
        return []
    return [
        Finding(
            "off-zero" if off > ZERO_REFUSED else "zero-moved",
            off > ZERO_REFUSED,
            f"the signal rests at {level_v:.3f} V",
            f"without a force it should be at {zero_v:.3f} V, "
            f"{ZERO_REFUSED * span_v:.3f} V more or less at most",
            "look for a broken bridge wire or a load on the cell; if the zero has moved, "
            "calibrate again",
        )
    ]


def _noise(facts: Facts) -> list[Finding]:
    health, calibration, board = facts.health, facts.calibration, facts.instrument
    least_v = least_noise_v(calibration, board.reduction)
    if not health.noise_v >= least_v:
        return [
            Finding(
                "too-quiet",
                True,
                f"the signal is too still, {1e3 * health.noise_v:.3f} mV rms",
                f"a living chain shows {1e3 * least_v:.3f} mV or more",
                "look at the bridge's wires and supply: nothing but the converter is heard",
            )
        ]
    span_v = calibration.rail_high_v - calibration.rail_low_v
    most_n = MOST_NOISE_SPAN * span_v * abs(calibration.newton_per_volt)
    if facts.target_n:
        most_n = min(most_n, MOST_NOISE * facts.target_n)
    if health.noise_n <= most_n:
        return []
    return [
        Finding(
            "too-noisy",
            True,
            f"noise of {health.noise_n:.4g} N rms",
            f"{most_n:.4g} N is the most for this drop",
            "look at shield and ground, at the gain, and whether the calibration is in newtons",
        )
    ]


def _room(facts: Facts) -> list[Finding]:
    room_n = facts.health.span_n
    if facts.upper_n is None:
        return [
            Finding(
                "room-unknown",
                False,
                f"{room_n:.0f} N of tension fit below the far limit",
                "without a target nobody knows whether that is enough",
                "give --target",
            )
        ]
    if room_n >= facts.upper_n:
        return []
    return [
        Finding(
            "no-room",
            True,
            f"{room_n:.0f} N of tension fit below the far limit",
            f"this drop may reach {facts.upper_n:.0f} N",
            "less gain, the right polarity, or a lower target",
        )
    ]


def _rate(facts: Facts) -> list[Finding]:
    told_hz, seen_hz = facts.instrument.sample_rate_hz, facts.health.measured_rate_hz
    if seen_hz is not None and abs(seen_hz / told_hz - 1.0) <= RATE_OFF:
        return []
    seen = "the sample rate cannot be measured" if seen_hz is None else f"{seen_hz:.6g} samples/s"
    return [
        Finding(
            "rate-off",
            True,
            seen,
            f"the board says {told_hz:.6g} samples/s, {100 * RATE_OFF:g} % more or less at most",
            "look at the board's clock and config.py",
        )
    ]


def _lost(facts: Facts) -> list[Finding]:
    now, before = facts.health.lost_now, facts.health.lost
    if not now and not before:
        return []
    seen = f"{now} conversions lost in this reading" if now else f"{before} lost since power-up"
    mend = "a lower rate in config.py, or power the board off and on and read again"
    return [Finding("conversions-lost", bool(now), seen, "none may be lost", mend)]


def _shunt(facts: Facts) -> list[Finding]:
    step_v, shunt, calibration = facts.shunt_step_v, facts.shunt, facts.calibration
    if shunt is None:
        return [
            Finding(
                "shunt-none",
                False,
                "no shunt resistor is fitted or named",
                "only its step proves that the bridge lives",
                "fit one and enter shunt_ohm under [cell], or ask with --shunt",
            )
        ]
    least_v = LEAST_SHUNT * (calibration.rail_high_v - calibration.rail_low_v)
    if step_v is None or not abs(step_v) >= least_v:
        seen = "not read" if step_v is None else f"{1e3 * step_v:.1f} mV"
        expected = f"{least_v:.3f} V or more" if shunt.expected_v is None else shunt.text
        return [
            Finding(
                "shunt-absent",
                True,
                f"the shunt makes no step ({seen})",
                f"{expected} expected",
                "the bridge does not answer: look at its wires, supply and the shunt's switch",
            )
        ]
    if shunt.expected_v is None:
        return [
            Finding(
                "shunt-unjudged",
                False,
                f"shunt step {step_v:.4f} V",
                "nobody said how large it should be",
                "enter shunt_ohm, bridge_ohm, excitation_v and gain in campaign.toml",
            )
        ]
    state = shunt.judge(step_v)
    if state == "good":
        return []
    return [
        Finding(
            "shunt-off",
            state == "invalid",
            f"shunt step {step_v:.4f} V",
            f"{shunt.text} expected",
            "gain, excitation or wiring is not what it was",
        )
    ]


def _converter(facts: Facts) -> list[Finding]:
    """What counts are turned into volts by: no sheet of the cell tells when that is wrong."""
    calibration, board = facts.calibration, facts.instrument
    found = []
    if calibration.converter_bits != board.converter_bits:
        found.append(
            Finding(
                "converter-bits",
                True,
                f"the calibration counts with {calibration.converter_bits} bits",
                f"the board's converter has {board.converter_bits}",
                "put converter_bits right and calibrate again",
            )
        )
    if "RP2" in board.board and calibration.reference_v > MOST_REFERENCE_V:
        found.append(
            Finding(
                "reference-impossible",
                True,
                f"the calibration takes a reference of {calibration.reference_v:g} V",
                f"this board's converter stands {MOST_REFERENCE_V} V at most",
                "measure the reference, put reference_v right and calibrate again",
            )
        )
    return found


_RULES = (_level, _noise, _room, _rate, _lost, _shunt, _converter)
