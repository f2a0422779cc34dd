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

from tautlog.board.at_rest import ZERO_REFUSED, AtRest, least_noise_v
from tautlog.board.channel_readiness import channel_findings
from tautlog.board.converter_fit import converter_findings
from tautlog.board.finding import ReadinessFinding
from tautlog.board.health import Health, read_health
from tautlog.board.resting import read_shunt_step
from tautlog.board.session import Session
from tautlog.board.shunt import Shunt
from tautlog.errors import CalibrationError, NotReadyError
from tautlog.model.calibration import Calibration
from tautlog.model.channels import FORCE, Channel, columns_of
from tautlog.model.display_units import SI, Units
from tautlog.model.readbacks import MEANINGS, MENDS
from tautlog.model.shown import shown
from tautlog.model.stream import Instrument
from tautlog.model.trace import DropSetup
from tautlog.model.window import fall_time_s, guarded_window

# The range of 16384 samples of normal noise is 7.9 standard deviations on average (order
# statistics, checked by simulation in the tests).
SPAN_OF_NOISE = 7.5
# Rms, fraction of the target: ten times the limit of `check`. Beyond it no verdict is possible.
MOST_NOISE = 0.05
# Rms, fraction of the span between the limits, if no target is given.
MOST_NOISE_SPAN = 0.02
# Crystals are within 0.01 %; the stamps of half a second of blocks give the rate to 0.02 %.
RATE_OFF = 0.005
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
    channels : tuple of Channel
        What is known of the board's channels, the first force channel first.
    height_m : float or None
        Free travel of the drop.
    units : Units
        Units in which the findings are said; SI for all that is kept.
    """

    health: Health
    calibration: Calibration
    instrument: Instrument
    target_n: float | None = None
    upper_n: float | None = None
    shunt: Shunt | None = None
    shunt_step_v: float | None = None
    stated_zero_v: float | None = None
    channels: tuple[Channel, ...] = ()
    height_m: float | None = None
    units: Units = SI

    @property
    def zero_v(self) -> float | None:
        """Output without force, measured or else stated; None if neither."""
        return known_zero_v(self.calibration, self.stated_zero_v)


def read_facts(
    session: Session,
    calibration: Calibration,
    setup: DropSetup,
    shunt: Shunt | None,
    on_health: Callable[[Health], None] = lambda health: None,
    *,
    stated_zero_v: float | None,
    channels: tuple[Channel, ...] = (),
) -> Facts:
    """Read the instrument of a greeted session, and the shunt's step.

    Parameters
    ----------
    on_health : callable
        Called with the health before the shunt is read, which takes a while.
    stated_zero_v, channels : float or None, tuple of Channel
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
        channels,
        setup.height_m,
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


def _rest(facts: Facts) -> AtRest:
    """The first channel at rest."""
    health = facts.health
    return AtRest(
        "",
        facts.calibration,
        facts.instrument.reduction,
        health.level_v,
        health.noise_v,
        facts.zero_v,
    )


def _level(facts: Facts) -> list[ReadinessFinding]:
    return _rest(facts).level()


def _noise(facts: Facts) -> list[ReadinessFinding]:
    if found := _rest(facts).quiet():
        return found
    health, calibration = facts.health, facts.calibration
    span_v = calibration.rail_high_v - calibration.rail_low_v
    most_n = MOST_NOISE_SPAN * span_v * abs(calibration.newton_per_volt)
    if facts.target_n:
        most_n = min(most_n, MOST_NOISE * facts.target_n)
    if health.noise_n <= most_n:
        return []
    hum, units = "", facts.units
    if health.mains_hz is not None:
        hum = f", hum of {units.text(health.mains_n, 'N', '.1f')} at {health.mains_hz:g} Hz in it"
    noise = shown(health.noise_n, "N", (most_n,), units, least=1)
    return [
        ReadinessFinding(
            "too-noisy",
            True,
            f"noise of {noise.text} rms{hum}",
            f"at most {noise.level()} for this drop",
            "check shield, ground and gain, and that the calibration is in newtons",
        )
    ]


def _room(facts: Facts) -> list[ReadinessFinding]:
    room_n = facts.health.span_n
    if len(columns_of(facts.instrument.channels, FORCE)) > 1 and facts.upper_n is not None:
        return []  # legs share it: see `channel_readiness`
    if facts.upper_n is None:
        return [
            ReadinessFinding(
                "room-unknown",
                False,
                f"{facts.units.text(room_n, 'N')} of tension fit below the far limit",
                "no target is given, so it may not be enough",
                "give --target",
            )
        ]
    if room_n >= facts.upper_n:
        return []
    room = shown(room_n, "N", (facts.upper_n,), facts.units)
    return [
        ReadinessFinding(
            "no-room",
            True,
            f"{room.text} of tension fit below the far limit",
            f"this drop may reach {room.level()}",
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
    return converter_findings(facts.calibration, facts.instrument, facts.health)


def _window(facts: Facts) -> list[ReadinessFinding]:
    """Whether the board's memory holds what its config.py asks for, and fall and contact."""
    board = facts.instrument
    if board.guard_after_s < board.guard_least_s:
        return [
            ReadinessFinding(
                "window-short",
                True,
                f"the board's memory guards {board.guard_after_s:g} s after the release",
                f"its config.py asks for {board.guard_least_s:g} s",
                "lower GUARD_AFTER_S, use fewer channels, or sum more conversions (REDUCTION)",
            )
        ]
    if facts.height_m is None:
        return []
    holds, text = guarded_window(facts.instrument).check(fall_time_s(facts.height_m))
    if holds:
        return []
    told, _, mend = text.rpartition(": ")
    return [
        ReadinessFinding("window-short", False, told, "the board alone would lose the pull", mend)
    ]


def _drive(facts: Facts) -> list[ReadinessFinding]:
    """A drive that is high in state safe opens the latch as soon as the key is on."""
    if not facts.health.drive_on:
        return []
    return [
        ReadinessFinding(
            "drive-high",
            True,
            "the release drive is high",
            "it is low unless a drop is released",
            "key off, and find out why before anybody goes near the rig",
        )
    ]


def _readbacks(facts: Facts) -> list[ReadinessFinding]:
    """Contacts of the release chain that read as open; the board refuses by them, too."""
    return [
        ReadinessFinding(
            f"{name}-open",
            True,
            f"{name} open",
            f"{MEANINGS[name]}, or the wire of its contact is open",
            MENDS[name],
        )
        for name in facts.health.open_readbacks
    ]


def _channels(facts: Facts) -> list[ReadinessFinding]:
    """The channels beyond the first."""
    return channel_findings(
        facts.instrument, facts.health, facts.channels, facts.upper_n, facts.units
    )


_RULES = (
    *(_drive, _level, _noise, _room, _rate, _lost, _shunt, _converter, _window),
    *(_channels, _readbacks),
)
