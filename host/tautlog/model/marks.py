"""Marks: the figures of one drop, each with its definition.

Times are in seconds from the start of the trace, forces in newtons, positive in tension.
A figure that cannot be determined is None, never zero. `marking` computes them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from tautlog.model.force_curve import ForceCurve
from tautlog.model.uncertainty import Budget

# Where a record may end too early, in order.
BEFORE_RELEASE, BEFORE_ONSET, IN_THE_RISE = "before-release", "before-onset", "in-the-rise"
IN_THE_FALL, IN_FLIGHT, BEFORE_REST = "after-the-peak", "before-rebound", "before-rest"
UNSEEN = (BEFORE_RELEASE, BEFORE_ONSET, IN_THE_RISE)  # then the force may have risen further


@dataclass(frozen=True)
class Finding:
    """One finding: a short code, and plain words with figures."""

    code: str
    text: str


@dataclass(frozen=True)
class Bounce:
    """A later pull of the line: onset, peak of the class-filtered force, and the time that
    the line was slack before it."""

    time_s: float
    peak_n: float
    flight_s: float


@dataclass(frozen=True)
class AboveLevel:
    """How long the contact lay at or above a level.

    Attributes
    ----------
    share, level_n : float
        The level as a share of the target, and as a force.
    duration_s : float
        All time of the measured contact in which the curve is at or above it.
    shortest_s, longest_s : float or None
        The same for a level that is higher and lower by the expanded uncertainty of the peak.
        The longest is None where the top was not seen whole, or the record ends above the level.
    """

    share: float
    level_n: float
    duration_s: float
    shortest_s: float
    longest_s: float | None


@dataclass(frozen=True)
class Marks:
    """All figures of one drop; None if not determinable.

    The measured contact is the contact with the largest force, whatever its sign; of contacts
    that are equal within noise, the first. If that force is negative, its figures are negative,
    too, and a finding says so. Expanded uncertainties have a coverage of 95.45 %, k = 2 for many
    degrees of freedom.

    Attributes
    ----------
    sample_rate_hz, samples, missing_samples
        Sample rate, number of samples and number of missing samples of the trace.
    clipped : bool
        Samples of the measured contact lie at a limit, or its top is flat.
    gap_in_contact : bool
        Samples are missing in the contact, within 50 ms of it, or before it where the first
        pull should be.
    record_ends : str or None
        Where the record ends if it does not hold the whole drop, see `completeness`.
    zero_offset_n, noise_n : float or None
        Mean and rms of the slack window: release + 30 % to onset - 10 % of the fall;
        without a release, the quiet stretch before the onset (common practice).
    zero_slope_n_per_s : float or None
        Drift within that window, by a straight line.
    zero_drift_n : float or None
        Zero before the release minus that of the slack window.
    zero_shift_n : float or None
        Zero after the first pull (in the flight before the next pull, or at rest after a loss of
        load) minus that of the slack window: an overloaded cell does not return.
    mains_hz, mains_n : float or None
        Frequency and amplitude of a component between 45 and 65 Hz before the onset.
    release_time_s, onset_time_s, slack_time_s : float or None
        Release switch opens; line taut; line slack again. The latter two by a straight line
        through 2 and 6 % of the peak (or 5 and 15 sigma), extended to zero.
    peak_force_n, peak_time_s : float or None
        The measurand (JCGM 200:2012, 2.3): largest value of the cell's force in the class
        `cfc`, zero removed (ISO 6487 practice); if the load path let go, of the force up to
        that, filtered by itself. Read off the curve, and corrected if the correction matters.
    peak_correction_n : float or None
        Correction added to the curve's largest value: noise makes it too high; sampling,
        amplifier and the lag at a break make it too low. 0 if it is less than a tenth of the
        standard uncertainty.
    peak_force_expanded_u_n, peak_coverage_factor : float or None
        Expanded uncertainty and its k (GUM), from calibration and extrapolation beyond it, zero,
        noise and peak picking, quantisation, amplifier and sampling. What the class removes and
        what fittings add belongs to the cell's force: see line_peak_force_n.
    line_peak_force_n, line_peak_force_expanded_u_n : float or None
        Largest force of the line in the same class: its pull on the article, without the inertia
        of fittings between line and cell. None if the record does not hold the whole pull, the
        load path let go, or the fixture rings: then a trace does not show it.
    fixture_hz, ring_peak_n, bandwidth_at_least_hz
        Frequency at which cell and fittings ring on a slack line; what the peak has of it; least
        bandwidth of an amplifier of one pole, by how quickly the force fell, see `release_edge`.
    cfc : int or None
        Channel frequency class; None for no filter.
    peak_force_unfiltered_n : float or None
        Largest value of the unfiltered force minus zero, glitches left out.
    bandwidth_needed_hz : float or None
        3 / base duration (common practice, after an ASTM STP of Nicolson): a class with less
        bandwidth shows a lower bound of the peak.
    rise_time_s : float or None
        First crossings of 10 and 90 % of the peak (IEC 60469, ISO 2041, from memory).
    load_rate_n_per_s : float or None
        80 % of the curve's peak over the rise time: mean slope between the first crossings of 10
        and 90 % of the peak.
    load_rate_expanded_u_n_per_s : float or None
        Expanded uncertainty (k = 2) of that: of the peak, of both crossings by noise, and of how
        much class and amplifier lengthen a rise. None where the bandwidth is not stated, the top
        was not seen whole, or the rise may be that of class and amplifier.
    time_to_peak_s : float or None
        Onset to the largest value of the curve.
    above_levels : tuple of AboveLevel
        Time at or above 50, 75, 90 and 100 % of the target, in the measured contact; bounces do
        not count. Empty without a target, or with a gap in the contact.
    duration_s, fwhm_s : float or None
        Crossings of 10 % and of 50 % on both sides of the peak.
    base_duration_s : float or None
        Onset to slack.
    impulse_ns : float or None
        Integral of the unfiltered force minus zero from onset to slack.
    half_sine_s : float or None
        Length of the half-sine of the same peak and impulse: pi J / (2 F_pk).
    quasi_static_above_hz : float or None
        Parts whose natural frequency is higher see the contact as a static load within
        10 %, see `spectrum.quasi_static_above_hz` (ISO 18431-4).
    serrations : int or None
        Falls of more than 5 % of the peak before it (common practice): stitches that rip, a
        thread that strips, a knot that slips.
    rest_force_n : float or None
        Mean of the last second (or 0.4 s) with the sled at rest, minus zero.
    bounces : int or None
        Later contacts with a peak above 2 % of the peak; none after a loss of load.
    bounce_list : tuple of Bounce
        The bounces, one by one.
    fall_time_s : float or None
        Release to onset.
    taut_speed_m_s, taut_speed_expanded_u_m_s : float or None
        sqrt(2 (g - f/m) h) where the drop tells the friction f (0 below its standard uncertainty),
        or no flight follows; without a height, g x fall time. Else impulse / m - g T - speed at
        slack. None where the two contradict.
    restitution : float or None
        Speed at slack over taut_speed_m_s (ASTM D6537 terminology). The speed at slack comes from
        the flight to the next contact, g x flight / 2; if all agrees, see `estimate`, with
        friction and with the stretch at which a damped line lets go.
    impulse_closure, impulse_closure_expanded_u : float or None
        impulse / (m (v_in + v_out) + m g T), signs turned, and its expanded uncertainty: momentum
        law, independent of the line; v_in is the speed after the fall, v_out the speed at slack.
    rest_closure, rest_closure_expanded_u : float or None
        rest force / (m g); friction may carry a part of the weight.
    displacement_closure_m, displacement_closure_expanded_u_m : float or None
        Sled's stretch at slack by integrating g - F/m twice from onset.
    force_scale, force_scale_expanded_u : float or None
        Force scale times mass, over their stated values, for which fall time, pulls, flights and
        rest agree best, see `estimate`. A trace cannot separate force from mass.
    friction_n, friction_expanded_u_n : float or None
        Friction of the rails from the same; None if the drop does not show it. The switch is
        assumed to open as the sled is released, unless the drop shows otherwise.
    release_delay_s, release_delay_expanded_u_s : float or None
        From the switch to the real release, if the drop shows a delay.
    break_time_s, break_force_n : float or None
        Loss of load, see `loss`.
    first_damage_time_s, first_damage_force_n : float or None
        Time and force of the first of: a fall of more than 5 % of the peak before it, one at once
        by a quarter of the force low in the rise, the begin of a slip or plateau, a loss of load.
    flash_time_s, flash_late_s : float or None
        Sync flash lit, by the stamp of its own pin; that stamp minus the stamp of the release.
    article_wire_s, mount_wire_s : float or None
        First opening of the break wires, as the board stamped them; a finding gives their order
        if they are further apart than two samples, the accuracy of a stamp. One cell cannot show
        the order: all parts of the load path lose the force together.
    target_force_n, limit_force_n : float or None
        Target and limit from the set-up.
    max_stretch_m, energy_absorbed_j, loop_loss : float or None
        Stretch, energy and loss of line and rig, from force over stretch, see `stretch.Stretch`.
        It begins with taut_speed_m_s; None where that is.
    max_stretch_expanded_u_m, energy_absorbed_expanded_u_j, secant_stiffness_expanded_u_n_per_m
        Expanded uncertainties, each input followed through the path, see `stretch_budgets`.
    secant_stiffness_n_per_m, line_stiffness_n_per_m, hardening_per_m2, damping_ratio
        From the same; stiffness of the line with its rig.
    findings : tuple of Finding
        All findings.
    budgets : tuple of Budget
        The uncertainty of peak and closures, part by part.
    curve : ForceCurve or None
        The force from which all figures are taken; `marking.mark` always gives it.
    """

    sample_rate_hz: float
    samples: int
    missing_samples: int = 0
    clipped: bool = False
    gap_in_contact: bool = False
    record_ends: str | None = None
    zero_offset_n: float | None = None
    noise_n: float | None = None
    zero_slope_n_per_s: float | None = None
    zero_drift_n: float | None = None
    zero_shift_n: float | None = None
    mains_hz: float | None = None
    mains_n: float | None = None
    release_time_s: float | None = None
    onset_time_s: float | None = None
    slack_time_s: float | None = None
    peak_force_n: float | None = None
    peak_correction_n: float | None = None
    peak_force_expanded_u_n: float | None = None
    peak_coverage_factor: float | None = None
    line_peak_force_n: float | None = None
    line_peak_force_expanded_u_n: float | None = None
    fixture_hz: float | None = None
    ring_peak_n: float | None = None
    bandwidth_at_least_hz: float | None = None
    cfc: int | None = None
    peak_time_s: float | None = None
    peak_force_unfiltered_n: float | None = None
    bandwidth_needed_hz: float | None = None
    rise_time_s: float | None = None
    load_rate_n_per_s: float | None = None
    load_rate_expanded_u_n_per_s: float | None = None
    time_to_peak_s: float | None = None
    above_levels: tuple[AboveLevel, ...] = ()
    duration_s: float | None = None
    fwhm_s: float | None = None
    base_duration_s: float | None = None
    impulse_ns: float | None = None
    half_sine_s: float | None = None
    quasi_static_above_hz: float | None = None
    serrations: int | None = None
    rest_force_n: float | None = None
    bounces: int | None = None
    bounce_list: tuple[Bounce, ...] = ()
    fall_time_s: float | None = None
    taut_speed_m_s: float | None = None
    taut_speed_expanded_u_m_s: float | None = None
    restitution: float | None = None
    line_stiffness_n_per_m: float | None = None
    damping_ratio: float | None = None
    friction_n: float | None = None
    friction_expanded_u_n: float | None = None
    release_delay_s: float | None = None
    release_delay_expanded_u_s: float | None = None
    energy_absorbed_j: float | None = None
    energy_absorbed_expanded_u_j: float | None = None
    max_stretch_m: float | None = None
    max_stretch_expanded_u_m: float | None = None
    loop_loss: float | None = None
    secant_stiffness_n_per_m: float | None = None
    secant_stiffness_expanded_u_n_per_m: float | None = None
    hardening_per_m2: float | None = None
    impulse_closure: float | None = None
    impulse_closure_expanded_u: float | None = None
    rest_closure: float | None = None
    rest_closure_expanded_u: float | None = None
    displacement_closure_m: float | None = None
    displacement_closure_expanded_u_m: float | None = None
    force_scale: float | None = None
    force_scale_expanded_u: float | None = None
    break_time_s: float | None = None
    break_force_n: float | None = None
    first_damage_time_s: float | None = None
    first_damage_force_n: float | None = None
    flash_time_s: float | None = None
    flash_late_s: float | None = None
    article_wire_s: float | None = None
    mount_wire_s: float | None = None
    target_force_n: float | None = None
    limit_force_n: float | None = None
    findings: tuple[Finding, ...] = field(default=())
    budgets: tuple[Budget, ...] = field(default=(), compare=False, repr=False)
    curve: ForceCurve | None = field(default=None, compare=False, repr=False)

    @property
    def lower_bound(self) -> bool:
        """Whether the force may have been larger than measured."""
        unseen = self.record_ends is not None and self.record_ends in UNSEEN
        doubt = self.has("starts-late") or self.has("break-unsure")
        return self.clipped or self.gap_in_contact or unseen or doubt

    def place_of(self, time_s: float) -> float:
        """Place of a time in samples of the trace that was marked, with a fraction."""
        begins_s = 0.0 if self.curve is None else self.curve.begins_s
        return (time_s - begins_s) * self.sample_rate_hz

    def has(self, code: str) -> bool:
        """Whether there is a finding with this code."""
        return any(finding.code == code for finding in self.findings)

    def text_of(self, code: str) -> str:
        """Words of the first finding with this code, or ""."""
        return next((finding.text for finding in self.findings if finding.code == code), "")


def definitions() -> dict[str, str]:
    """Definition of each figure, by its key, from the docstring of `Marks`."""
    text = (Marks.__doc__ or "").split("----------\n", 1)[-1]
    found: dict[str, str] = {}
    for names, body in re.findall(
        r"^    ([a-z_0-9, ]+?)(?: :[^\n]*)?\n((?:        [^\n]*\n)+)", text, re.MULTILINE
    ):
        for name in names.split(", "):
            found[name] = " ".join(body.split())
    return found
