"""Against flight: what of a drop is harder than flight, what softer, and what is unknown."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tautlog.archive.assessment import Assessment
from tautlog.campaign.campaign import Campaign, read_campaign
from tautlog.errors import CampaignError
from tautlog.model.display_units import SI, Unit, Units
from tautlog.model.marks import Marks
from tautlog.planning.flight_pulse import FlightPulse, pulse_of

HARDER, SOFTER, UNKNOWN = "harder", "softer", "unknown"
Bounds = tuple[float, float]


@dataclass(frozen=True)
class Compared:
    """One figure of drop and flight.

    Attributes
    ----------
    name, unit : str
        The figure.
    drop, flight : (float, float) or None
        Bounds in that unit; None where they cannot be told.
    quick : bool
        Whether less of it is harder, as of a rise.
    units : Units
        Units in which it is said.
    measured : float or None
        The drop's figure, where it was measured and its bounds cannot be told.
    """

    name: str
    unit: str
    drop: Bounds | None
    flight: Bounds | None
    quick: bool = False
    units: Units = SI
    measured: float | None = None

    @property
    def word(self) -> str:
        """harder, softer or unknown: told only where the bounds do not meet."""
        if self.drop is None or self.flight is None:
            return UNKNOWN
        if self.drop[0] > self.flight[1]:
            return SOFTER if self.quick else HARDER
        if self.drop[1] < self.flight[0]:
            return HARDER if self.quick else SOFTER
        return UNKNOWN

    @property
    def text(self) -> str:
        """The figure in words."""
        unit = self.units.of(self.unit)
        drop, flight = _words(self.drop, unit), _words(self.flight, unit)
        if self.drop is None and self.measured is not None:
            drop = f"{self.measured / unit.size:.4g} {unit.name}, its uncertainty not known"
        return f"{self.name}: {self.word} (drop {drop}; flight {flight})"


@dataclass(frozen=True)
class AgainstFlight:
    """A drop beside the flight.

    Attributes
    ----------
    pulse : FlightPulse
        The pull in flight.
    u_fraction : float or None
        Expanded uncertainty of its force and times; None if nobody stated it.
    compared : tuple of Compared
        Peak, rise, time above the target, impulse.
    note : str
        What the words rest on.
    """

    pulse: FlightPulse
    u_fraction: float | None
    compared: tuple[Compared, ...]
    note: str

    @property
    def texts(self) -> tuple[str, ...]:
        """All of it in words."""
        return (*(one.text for one in self.compared), self.note)


def against_flight(drop: Assessment, campaign: Campaign | None) -> AgainstFlight | None:
    """Lay a drop beside the campaign's flight; None where no flight is stated.

    An invalid record, and a flight without an uncertainty, leave every figure unknown.
    """
    load = None if campaign is None else campaign.flight.load
    if campaign is None or load is None:
        return None
    pulse, u = pulse_of(load), campaign.flight.expanded_u_fraction
    known = drop.verdict.record_verdict != "invalid"
    bounds = _of_drop(drop.loaded) if known else (None,) * 4
    rise_s = drop.loaded.rise_time_s if known else None
    asked = (None,) * 4 if u is None else _of_flight(pulse, u, drop.loaded.target_force_n)
    names = (
        ("peak", "N", False, None),
        ("rise, 10 to 90 %", "ms", True, 1e3 * rise_s if rise_s else None),
        ("time above target", "ms", False, None),
        ("impulse", "N s", False, None),
    )
    compared = tuple(
        Compared(name, unit, mine, flight, quick, drop.units, measured)
        for (name, unit, quick, measured), mine, flight in zip(names, bounds, asked, strict=True)
    )
    return AgainstFlight(pulse, u, compared, _note(campaign, known=known))


def against_flight_at(drop: Assessment) -> AgainstFlight:
    """As `against_flight`, with the campaign in the record's folder.

    Raises
    ------
    CampaignError
        If there is none, or it states no flight.
    """
    told = against_flight(drop, read_campaign(drop.path.parent, to_drop=False))
    if told is None:
        raise CampaignError(
            "campaign.toml states no flight: state the section [flight] with a kind, as a new "
            "file of `tautlog init` shows it"
        )
    return told


def _of_drop(marks: Marks) -> tuple[Bounds | None, ...]:
    """Bounds of the drop's figures (k = 2).

    The impulse's: no force of the pull is off by more than U of its peak.
    """
    peak_n, spread_n = marks.peak_force_n, marks.peak_force_expanded_u_n
    if peak_n is None or spread_n is None or peak_n < 0.0:
        return (None,) * 4
    most_n = math.inf if marks.lower_bound else peak_n + spread_n
    rise_s, rate, rate_u = (
        marks.rise_time_s,
        marks.load_rate_n_per_s,
        marks.load_rate_expanded_u_n_per_s,
    )
    rise = None
    if rise_s and rate and rate_u and not marks.lower_bound:
        rise = _about(1e3 * rise_s, rate_u / rate)
    above = None
    if marks.above_levels:
        top = marks.above_levels[-1]
        longest_s = math.inf if top.longest_s is None else top.longest_s
        above = (1e3 * top.shortest_s, 1e3 * longest_s)
    impulse_ns, base_s = marks.impulse_ns, marks.base_duration_s
    impulse = None
    if impulse_ns and base_s and not marks.lower_bound and marks.break_time_s is None:
        impulse = (impulse_ns - spread_n * base_s, impulse_ns + spread_n * base_s)
    return (peak_n - spread_n, most_n), rise, above, impulse


def _of_flight(pulse: FlightPulse, u: float, target_n: float | None) -> tuple[Bounds | None, ...]:
    """Bounds of the flight's figures, if force and times are uncertain by a fraction."""
    above = None
    if target_n is not None and u < 1.0:
        few, many = pulse.above_s(target_n / (1.0 - u)), pulse.above_s(target_n / (1.0 + u))
        longest_ms = math.inf if many is None else 1e3 * (1.0 + u) * many
        # The model of an opening leaves out what pulls on, so that its end is no bound.
        above = (0.0 if few is None else 1e3 * (1.0 - u) * few, longest_ms)
    return (
        _about(pulse.peak_force_n, u),
        _about(1e3 * pulse.rise_time_s, u),
        above,
        ((1.0 - u) * pulse.impulse_low_ns, (1.0 + u) * pulse.impulse_high_ns),
    )


def _about(value: float, fraction: float) -> Bounds:
    return max(value * (1.0 - fraction), 0.0), value * (1.0 + fraction)


def _words(bounds: Bounds | None, unit: Unit) -> str:
    if bounds is None:
        return "not known"
    low, high = (end / unit.size for end in bounds)
    if math.isinf(high):
        return f"{low:.4g} {unit.name} or more"
    return f"{low:.4g} to {high:.4g} {unit.name}"


def _note(campaign: Campaign, *, known: bool) -> str:
    flight = campaign.flight
    source = flight.source or "source not stated"
    if not known:
        return "the record is invalid: nothing of it is held against flight"
    if flight.expanded_u_fraction is None:
        return (
            "the uncertainty of the load in flight is not stated: enter expanded_u_fraction under "
            "[flight]; until then nothing is called harder or softer"
        )
    return (
        f"flight: {flight.kind} ({source}), by a model; U = {100 * flight.expanded_u_fraction:.0f}"
        " % of its force and times. harder and softer only where the bounds do not meet"
    )
