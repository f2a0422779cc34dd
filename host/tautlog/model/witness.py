"""Witness: what a sled's accelerometer and the supply of the bridges say beside the force."""

from __future__ import annotations

from dataclasses import dataclass, field

from tautlog.model.marks import Finding
from tautlog.model.uncertainty import Budget

AGREES, DISAGREES, UNKNOWN = "agrees", "disagrees", "unknown"


@dataclass(frozen=True)
class Witness:
    """Mass times the accelerometer's reading against the force of the first contact.

    The accelerometer reads a + g, upwards: 0 in free fall, g at rest. Its sled of mass m is held by
    the line and the rails only, so that m (a + g) is the force of the line, plus friction on the
    way down and minus friction on the way up.

    Attributes
    ----------
    says : str
        "agrees", "disagrees" or "unknown".
    ratio, ratio_expanded_u, coverage_factor : float or None
        m (a + g) over force, fitted over the first contact, with its expanded uncertainty and k.
        A gain that reads too high lowers it, a mass stated too high raises it.
    free_fall_m_s2, free_fall_expanded_u_m_s2 : float or None
        Reading in free fall; friction over mass is left of 0. None without a stated zero.
    rest_m_s2, rest_expanded_u_m_s2 : float or None
        Rise from free fall to rest, less what friction adds: g if its sensitivity is right.
    peak_m_s2 : float or None
        Largest reading in the class of the force.
    text : str
        The same in words, or why nothing can be said.
    findings : tuple of Finding
        For the record's verdict.
    budget : Budget or None
        Uncertainty of the ratio, part by part.
    """

    says: str = UNKNOWN
    ratio: float | None = None
    ratio_expanded_u: float | None = None
    coverage_factor: float | None = None
    free_fall_m_s2: float | None = None
    free_fall_expanded_u_m_s2: float | None = None
    rest_m_s2: float | None = None
    rest_expanded_u_m_s2: float | None = None
    peak_m_s2: float | None = None
    text: str = ""
    findings: tuple[Finding, ...] = ()
    budget: Budget | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True)
class Excitation:
    """The supply of the bridges over a drop.

    Attributes
    ----------
    before_v, after_v : float or None
        Mean before the release (or the onset), and at the end of the record.
    off_fraction, drift_fraction, sag_fraction : float or None
        Before over expected, minus 1; after over before, minus 1; largest fall during the contact,
        over before.
    corrected : bool
        The forces were multiplied by expected over measured supply.
    text : str
        The same in words, or why nothing can be said.
    findings : tuple of Finding
        For the record's verdict.
    """

    before_v: float | None = None
    after_v: float | None = None
    off_fraction: float | None = None
    drift_fraction: float | None = None
    sag_fraction: float | None = None
    corrected: bool = False
    text: str = ""
    findings: tuple[Finding, ...] = ()
