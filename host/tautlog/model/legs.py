"""Legs: what several force channels of one load path show of a drop."""

from __future__ import annotations

from dataclasses import dataclass, field

from tautlog.model.marks import Finding, Marks

SUM = "sum"
PLAIN, AXIAL = "plain", "axial"


@dataclass(frozen=True)
class Leg:
    """One leg; None for what cannot be told.

    Attributes
    ----------
    name : str
        Name of its channel.
    calibrated : bool
        Whether its volts can be turned into a force. If not, everything else is None.
    peak_force_n, peak_force_expanded_u_n, peak_time_s : float or None
        Its own peak, as in `marks.Marks`.
    onset_time_s, onset_expanded_u_s : float or None
        When it came taut, and the expanded uncertainty (k = 2).
    force_at_peak_n : float or None
        Its force at the peak of the sum.
    share, share_expanded_u : float or None
        That force over the force of all legs, and the expanded uncertainty (k = 2).
    break_time_s, break_force_n : float or None
        Loss of its load.
    target_n, limit_n : float or None
        Stated for this leg alone.
    load_verdict : str or None
        The load that it reached against them, as in `verdict.Verdict`, or "within": below its
        limit, without a target; None if neither is stated.
    marks : Marks or None
        All its marks. They were made without mass, height and target, which belong to the sum.
    """

    name: str
    calibrated: bool
    peak_force_n: float | None = None
    peak_force_expanded_u_n: float | None = None
    peak_time_s: float | None = None
    onset_time_s: float | None = None
    onset_expanded_u_s: float | None = None
    force_at_peak_n: float | None = None
    share: float | None = None
    share_expanded_u: float | None = None
    break_time_s: float | None = None
    break_force_n: float | None = None
    target_n: float | None = None
    limit_n: float | None = None
    load_verdict: str | None = None
    marks: Marks | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True)
class Legs:
    """All legs of a drop and how they shared its force.

    Attributes
    ----------
    legs : tuple of Leg
        In the order of the channels.
    judged_on : str
        What is held against target and limit: "sum", or the name of a leg.
    sum_peak_force_n, sum_peak_force_expanded_u_n : float or None
        Peak of the sum; None if a leg is not calibrated.
    sum_is : str
        `PLAIN`: the forces are added as they are, along each leg; `AXIAL`: their parts along the
        vertical, by the stated angles.
    resultant_force_n, resultant_expanded_u_n, resultant_off_vertical_deg : float or None
        Size of the vector sum at the peak of the sum, and its angle to the vertical; None without
        all angles and azimuths.
    asymmetry, asymmetry_expanded_u : float or None
        At that time, see `leg_vectors.asymmetry`.
    first_taut : str or None
        The leg that came taut first; None if their uncertainty does not tell.
    onset_difference_s, onset_difference_expanded_u_s : float or None
        From the first onset to the last, and the expanded uncertainty (k = 2).
    slack_difference_m, slack_difference_expanded_u_m : float or None
        The same times the sled's speed: how much longer the last leg is.
    let_go_first : str or None
        The leg that lost its load first; None if none did, or it cannot be told.
    let_go_order : str
        "told", "unclear", or "" if none lost its load.
    let_go_apart_s, let_go_resolved_s : float or None
        Least time between two losses that follow each other, and what that pair must exceed for
        its order to be told; None with fewer than two.
    findings : tuple of Finding
        What the record's verdict and people must know.
    """

    legs: tuple[Leg, ...]
    judged_on: str = SUM
    sum_peak_force_n: float | None = None
    sum_peak_force_expanded_u_n: float | None = None
    sum_is: str = PLAIN
    resultant_force_n: float | None = None
    resultant_expanded_u_n: float | None = None
    resultant_off_vertical_deg: float | None = None
    asymmetry: float | None = None
    asymmetry_expanded_u: float | None = None
    first_taut: str | None = None
    onset_difference_s: float | None = None
    onset_difference_expanded_u_s: float | None = None
    slack_difference_m: float | None = None
    slack_difference_expanded_u_m: float | None = None
    let_go_first: str | None = None
    let_go_order: str = ""
    let_go_apart_s: float | None = None
    let_go_resolved_s: float | None = None
    findings: tuple[Finding, ...] = ()

    def named(self, name: str) -> Leg | None:
        """The leg of this name, or None."""
        return next((leg for leg in self.legs if leg.name == name), None)
