"""Marks: the figures of one drop, computed from its trace.

Every definition stands with its field in `Marks`. Times are in seconds from the
start of the trace, forces in newtons, positive in tension. A figure that cannot be
determined is None, never zero.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace

import numpy as np
import numpy.typing as npt

from tautlog.contacts import (
    FRACTION_OF_PEAK,
    SIGMAS,
    Contact,
    find_contacts,
    onset_index,
    rise_through,
    slack_index,
    smoothed,
    span_above,
    without_glitches,
)
from tautlog.filters import cfc_filter, highest_class_for
from tautlog.loss import find_loss
from tautlog.spectrum import quasi_static_above_hz
from tautlog.stretch import force_over_stretch, motion
from tautlog.trace import STANDARD_GRAVITY_M_PER_S2, DropSetup, Trace

FloatArray = npt.NDArray[np.float64]

REST_S = 1.0
SHORT_REST_S = 0.4
NEAR_CONTACT_S = 0.05  # a gap this close to the contact counts as in it
FIRST_LOOK_S = 0.03  # of the trace, for a first zero when there is no release
FLAT_TOP_FACTOR = 2.5
WIRE_SAMPLES = 2.0  # that the stamp of an edge may be off (tests/emulated)
# Of the largest stretch, left at slack; a damped line leaves less (own simulation).
SLIP_LEAST = 0.2
SLIP_LEAST_M = 0.01  # an onset that is half a millisecond off, at 10 m/s, leaves half of it


@dataclass(frozen=True)
class Finding:
    """Something noticed: a short code, and plain words with figures."""

    code: str
    text: str


@dataclass(frozen=True)
class Marks:
    """All figures of one drop; None where not determinable.

    The measured contact is the one with the largest force, whatever its sign, and the
    first of those that are equal but for noise. If that force is negative, its figures
    are negative too and a finding says so.

    Attributes
    ----------
    sample_rate_hz, samples, missing_samples
        Of the trace.
    clipped : bool
        Samples of the measured contact lie at a limit, or its top is flat.
    gap_in_contact : bool
        Samples are missing in the contact or within 50 ms of it.
    zero_offset_n, noise_n : float or None
        Mean and rms of the slack window: release + 30 % to onset - 10 % of the fall;
        without a release, the quiet stretch before the onset (common practice).
    zero_drift_n : float or None
        Zero before the release minus that of the slack window.
    release_time_s, onset_time_s, slack_time_s : float or None
        Release switch; line taut; line slack again. The latter two by a straight line
        through 2 and 6 % of the peak (or 5 and 15 sigma), followed to zero.
    peak_force_n, peak_time_s : float or None
        Largest value of the class-filtered force minus zero (ISO 6487 practice).
    peak_force_expanded_u_n : float or None
        Expanded uncertainty (k = 2) from calibration, zero, noise and quantisation.
    cfc : int or None
        Class that was used; None for no filter.
    peak_force_unfiltered_n : float or None
        Largest value of the unfiltered force minus zero, glitches left out.
    rise_time_s : float or None
        First crossings of 10 and 90 % of the peak (IEC 60469, ISO 2041, from memory).
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
        10 %, see `spectrum.quasi_static_above_hz`.
    rest_force_n : float or None
        Mean of the last second (or 0.4 s) once all hangs still, minus zero.
    bounces : int or None
        Later contacts with a peak above 2 % of the peak; none after a loss of load.
    fall_time_s : float or None
        Release to onset.
    taut_speed_m_s : float or None
        sqrt(2 g h); without a height, g x fall time.
    restitution : float or None
        g x (flight to the next contact) / 2 over sqrt(2 g h) (ASTM D6537 terminology).
    impulse_closure : float or None
        impulse / (m (v_in + v_out) + m g T), signs turned: momentum law, free of the
        line. v_in = sqrt(2 g h): friction of 4 % of the weight costs about 1 %.
    rest_closure : float or None
        rest force / (m g).
    displacement_closure_m : float or None
        Sled's stretch at slack by integrating g - F/m twice from onset.
    break_time_s, break_force_n : float or None
        Loss of load, see `loss`.
    article_wire_s, mount_wire_s : float or None
        First opening of the break wires, as the board stamped them; a finding tells their
        order where they are further apart than two samples, which is what a stamp is good
        for. One cell cannot tell it: all parts of the load path see the force vanish together.
    target_force_n, limit_force_n : float or None
        From the set-up.
    max_stretch_m, energy_absorbed_j, loop_loss : float or None
        Of line and rig, from force over stretch, see `stretch.Stretch`; with the speed
        of a fall without friction.
    secant_stiffness_n_per_m, line_stiffness_n_per_m, hardening_per_m2, damping_ratio
        The same; stiffness of the line with the rig that it hangs on.
    friction_n, release_delay_s
        Not computed yet: None.
    findings : tuple of Finding
        All that was noticed.
    """

    sample_rate_hz: float
    samples: int
    missing_samples: int = 0
    clipped: bool = False
    gap_in_contact: bool = False
    zero_offset_n: float | None = None
    noise_n: float | None = None
    zero_drift_n: float | None = None
    release_time_s: float | None = None
    onset_time_s: float | None = None
    slack_time_s: float | None = None
    peak_force_n: float | None = None
    peak_force_expanded_u_n: float | None = None
    cfc: int | None = None
    peak_time_s: float | None = None
    peak_force_unfiltered_n: float | None = None
    rise_time_s: float | None = None
    duration_s: float | None = None
    fwhm_s: float | None = None
    base_duration_s: float | None = None
    impulse_ns: float | None = None
    half_sine_s: float | None = None
    quasi_static_above_hz: float | None = None
    rest_force_n: float | None = None
    bounces: int | None = None
    fall_time_s: float | None = None
    taut_speed_m_s: float | None = None
    restitution: float | None = None
    line_stiffness_n_per_m: float | None = None
    damping_ratio: float | None = None
    friction_n: float | None = None
    release_delay_s: float | None = None
    energy_absorbed_j: float | None = None
    max_stretch_m: float | None = None
    loop_loss: float | None = None
    secant_stiffness_n_per_m: float | None = None
    hardening_per_m2: float | None = None
    impulse_closure: float | None = None
    rest_closure: float | None = None
    displacement_closure_m: float | None = None
    break_time_s: float | None = None
    break_force_n: float | None = None
    article_wire_s: float | None = None
    mount_wire_s: float | None = None
    target_force_n: float | None = None
    limit_force_n: float | None = None
    findings: tuple[Finding, ...] = field(default=())

    def has(self, code: str) -> bool:
        """Whether there is a finding of that code."""
        return any(finding.code == code for finding in self.findings)


def mark(trace: Trace, setup: DropSetup, *, cfc: int | None = 180, zero: str = "slack") -> Marks:
    """Compute the marks of a trace.

    Parameters
    ----------
    trace : Trace
        The trace; any content, also none.
    setup : DropSetup
        Mass, height and target, where known.
    cfc : int or None
        Channel frequency class, or None for no filter. A class that the rate does not
        allow is lowered, and a finding says so.
    zero : str
        "slack": take the zero from the slack window; "none": take none.

    Raises
    ------
    ValueError
        If `cfc` or `zero` is none of the allowed values.
    """
    if zero not in ("slack", "none"):
        raise ValueError(f"`zero` must be slack or none, was {zero!r}")
    force = np.where(np.abs(trace.force_n) < 1e15, trace.force_n, np.nan)
    missing = ~np.isfinite(force)
    used, findings = _usable_class(cfc, trace.sample_rate_hz)
    marks = Marks(
        sample_rate_hz=trace.sample_rate_hz,
        samples=force.size,
        missing_samples=int(missing.sum()),
        release_time_s=trace.release_time_s,
        article_wire_s=trace.article_wire_s,
        mount_wire_s=trace.mount_wire_s,
        cfc=used,
        target_force_n=setup.target_n,
        limit_force_n=setup.upper_n,
        findings=findings,
    )
    if force.size - marks.missing_samples < 16:
        return _with(marks, "no-samples", f"the trace has only {force.size} samples")
    index = np.arange(force.size)
    # Filled for finding things only: a gap is reported, and its figures are bounds.
    filled = np.interp(index, index[~missing], force[~missing]) if missing.any() else force
    return _Marking(trace, setup, filled, missing, zero, marks).result()


def _usable_class(cfc: int | None, rate_hz: float) -> tuple[int | None, tuple[Finding, ...]]:
    if cfc is None:
        return None, ()
    highest = highest_class_for(rate_hz)
    if highest is not None and cfc <= highest:
        return cfc, ()
    instead = "not filtered" if highest is None else f"class {highest} instead"
    text = f"class {cfc} needs {10 * cfc} samples/s, the trace has {rate_hz:g}: {instead}"
    return highest, (Finding("class-lowered", text),)


def _with(marks: Marks, code: str, text: str, **figures: object) -> Marks:
    return replace(marks, findings=(*marks.findings, Finding(code, text)), **figures)  # type: ignore[arg-type]


class _Marking:
    """One marking run: the arrays that its steps share."""

    def __init__(
        self,
        trace: Trace,
        setup: DropSetup,
        filled: FloatArray,
        missing: npt.NDArray[np.bool_],
        zero: str,
        marks: Marks,
    ) -> None:
        self.trace = trace
        self.setup = setup
        self.missing = missing
        self.rate_hz = trace.sample_rate_hz
        self.take_zero = zero == "slack"
        self.marks = marks
        self.clean_n, self.spikes = without_glitches(filled, self.rate_hz)
        cfc = marks.cfc
        self.filtered_n = cfc_filter(self.clean_n, self.rate_hz, cfc) if cfc else self.clean_n
        self.smooth_n = smoothed(self.clean_n, self.rate_hz)

    def result(self) -> Marks:
        self._note_glitches()
        window = self._first_window()
        found = self._locate(window)
        if found is not None:
            # Now that the onset is known, the zero can be taken where it belongs.
            window = self._slack_window(found) or window
            found = self._locate(window)
        self._mark_zero(window)
        if found is None:
            return self._never_taut()
        self._mark_contact()
        self._mark_times()
        self._mark_flags()
        self._mark_impulse()
        self._mark_after()
        self._mark_closures()
        self._mark_loss()
        self._mark_wires()
        self._mark_stretch()
        self._mark_uncertainty()
        return self.marks

    # Where things are

    def _first_window(self) -> slice:
        release_s = self.trace.release_time_s
        if release_s is not None and release_s * self.rate_hz >= 8:
            stop = min(int(release_s * self.rate_hz), self.clean_n.size)
            return slice(max(0, stop - int(0.5 * self.rate_hz)), stop)
        return slice(0, max(8, int(FIRST_LOOK_S * self.rate_hz)))

    def _locate(self, window: slice) -> tuple[float, float | None] | None:
        """Zero, sign, threshold and the measured contact; onset and slack as indices."""
        self.zero_n = float(np.mean(self.clean_n[window])) if self.take_zero else 0.0
        self.noise_n = float(np.std(self.clean_n[window]))
        search = self.filtered_n - self.zero_n
        if self.trace.release_time_s is not None:
            # What happened before the release was no drop.
            search = search.copy()
            search[: max(int(self.trace.release_time_s * self.rate_hz), 0)] = 0.0
        self.peak = int(np.argmax(np.abs(search)))
        self.sign = -1.0 if search[self.peak] < 0 else 1.0
        top_n = abs(float(search[self.peak]))
        self.force_n = self.sign * (self.clean_n - self.zero_n)
        self.pulse_n = self.sign * (self.filtered_n - self.zero_n)
        self.even_n = self.sign * (self.smooth_n - self.zero_n)
        if not top_n > max(8.0 * self.noise_n, 4.0 * self.trace.quantum_n, 1e-9):
            return None
        smooth_noise = float(np.std(self.smooth_n[window]))
        self.threshold_n = max(SIGMAS * smooth_noise, FRACTION_OF_PEAK * top_n)
        contacts = find_contacts(self.even_n, self.rate_hz, self.threshold_n)
        at = next(
            (i for i, one in enumerate(contacts) if one.start - 2 <= self.peak <= one.stop + 2),
            None,
        )
        if at is None:
            return None
        at = self._first_of_equals(contacts[: at + 1], top_n)
        self.contact, self.later = contacts[at], contacts[at + 1 :]
        self.onset = onset_index(self.even_n, self.contact, self.threshold_n, self.peak)
        self.slack = slack_index(self.even_n, self.contact, self.threshold_n, self.peak)
        return self.onset, self.slack

    def _first_of_equals(self, contacts: list[Contact], top_n: float) -> int:
        """Place of the first contact whose peak is the largest but for noise.

        A line without loss gives bounces as high as the first, and a limit makes all equal.
        """
        for place, one in enumerate(contacts[:-1]):
            piece = self.pulse_n[one.start : one.stop]
            if float(piece.max()) >= top_n - 4.0 * self.noise_n - self.trace.quantum_n:
                self.peak = one.start + int(np.argmax(piece))
                return place
        return len(contacts) - 1

    def _slack_window(self, found: tuple[float, float | None]) -> slice | None:
        onset = found[0]
        release_s = self.trace.release_time_s
        start = 0.0 if release_s is None else release_s * self.rate_hz
        fall = onset - start
        window = slice(
            int(start + (0.3 * fall if release_s is not None else 0.0)), int(onset - 0.1 * fall)
        )
        return window if window.stop - window.start >= 8 else None

    def _set(self, **figures: object) -> None:
        self.marks = replace(self.marks, **figures)  # type: ignore[arg-type]

    def _find(self, code: str, text: str) -> None:
        self.marks = _with(self.marks, code, text)

    # What they are

    def _note_glitches(self) -> None:
        if self.spikes.size:
            first_s = self.spikes[0] / self.rate_hz
            self._find(
                "glitch",
                f"{self.spikes.size} sample(s) jump out of the trace, the first at "
                f"{first_s:.4f} s; they are no peaks and are left out",
            )

    def _mark_zero(self, window: slice) -> None:
        drift = None
        release_s = self.trace.release_time_s
        if self.take_zero and release_s is not None and release_s * self.rate_hz >= 8:
            before = self.clean_n[: int(release_s * self.rate_hz)]
            drift = float(before.mean()) - self.zero_n if before.size else None
        self.zero_samples = window.stop - window.start
        self._set(
            zero_offset_n=self.zero_n if self.take_zero else None,
            noise_n=self.noise_n,
            zero_drift_n=drift,
        )

    def _never_taut(self) -> Marks:
        self._find("never-taut", "no contact stands out of the noise: the line never came taut")
        return self.marks

    def _mark_contact(self) -> None:
        peak_n = float(self.pulse_n[self.peak])
        span = slice(self.contact.start, max(self.contact.stop, self.peak + 1))
        self.top_n = peak_n
        self._set(
            peak_force_n=self.sign * peak_n,
            peak_time_s=self.peak / self.rate_hz,
            peak_force_unfiltered_n=self.sign * float(self.force_n[span].max()),
        )
        if self.sign < 0:
            self._find(
                "reversed",
                "the force of the contact is negative: the cell is wired the wrong way round, or "
                "the trace counts compression as negative",
            )

    def _mark_times(self) -> None:
        rate, top = self.rate_hz, self.top_n
        # The filter's own foreshoot may reach before the onset.
        start = max(0, self.contact.start - int(0.02 * rate))
        low = rise_through(self.pulse_n, 0.1 * top, start, self.peak)
        high = rise_through(self.pulse_n, 0.9 * top, start, self.peak)
        left, right = span_above(self.pulse_n, 0.1 * top, self.peak)
        half_left, half_right = span_above(self.pulse_n, 0.5 * top, self.peak)
        onset_s = self.onset / rate
        slack_s = None if self.slack is None else self.slack / rate
        release_s = self.trace.release_time_s
        self._set(
            onset_time_s=onset_s,
            slack_time_s=slack_s,
            rise_time_s=None if low is None or high is None else (high - low) / rate,
            duration_s=None if left is None or right is None else (right - left) / rate,
            fwhm_s=None
            if half_left is None or half_right is None
            else (half_right - half_left) / rate,
            base_duration_s=None if slack_s is None else slack_s - onset_s,
            fall_time_s=None if release_s is None else onset_s - release_s,
        )
        if right is None:
            self._find(
                "load-stays", "the force never falls below 10 % of the peak again: no duration"
            )

    def _mark_flags(self) -> None:
        margin = int(NEAR_CONTACT_S * self.rate_hz)
        near = slice(max(0, self.contact.start - margin), self.contact.stop + margin)
        gap = bool(self.missing[near].any())
        clipped = bool(self.trace.clipped[self.contact.start : self.contact.stop].any())
        flat = not clipped and self._has_flat_top()
        self._set(clipped=clipped or flat, gap_in_contact=gap)
        if clipped:
            self._find("clipped", "the contact touches a limit of converter or amplifier")
        if flat:
            self._find(
                "flat-top",
                f"the top is flat at {self.marks.peak_force_unfiltered_n:.0f} N: an amplifier at "
                "its rail, or a load path that yields",
            )
        if gap:
            self._find("gap-in-contact", "samples are missing in the contact or next to it")
        elif self.marks.missing_samples:
            self._find("gap", f"{self.marks.missing_samples} samples are missing, none near it")

    def _has_flat_top(self) -> bool:
        """Whether the top lasts far longer than that of a half-sine of this length."""
        piece = self.force_n[self.contact.start : self.contact.stop]
        top = float(piece.max())
        depth = max(3.0 * self.trace.quantum_n, 4.0 * self.noise_n, 1e-4 * top)
        if depth > 0.1 * top or piece.size < 12:
            return False
        within = np.flatnonzero(piece >= top - depth)
        width = int(within[-1] - within[0]) + 1
        natural = piece.size * (2 / np.pi) * np.sqrt(2 * depth / top)
        dense = within.size > 0.8 * width
        return bool(dense and width > max(FLAT_TOP_FACTOR * natural, 4))

    def _mark_impulse(self) -> None:
        if self.slack is None or self.marks.gap_in_contact:
            return
        impulse_ns = self._integral(self.force_n)
        pulse = self.pulse_n[int(np.ceil(self.onset)) : int(self.slack) + 1]
        self._set(
            impulse_ns=self.sign * impulse_ns,
            half_sine_s=0.5 * np.pi * impulse_ns / self.top_n,
            quasi_static_above_hz=quasi_static_above_hz(pulse, self.rate_hz),
        )

    def _integral(self, values: FloatArray) -> float:
        """Trapezoid from onset to slack, both between samples."""
        assert self.slack is not None
        first, last = int(np.ceil(self.onset)), int(np.floor(self.slack))
        inner = np.trapezoid(values[first : last + 1]) if last > first else 0.0
        # At both ends the line has no force: a triangle each.
        ends = 0.5 * values[first] * (first - self.onset) + 0.5 * values[last] * (self.slack - last)
        return float((inner + ends) / self.rate_hz)

    def _mark_after(self) -> None:
        """What comes after the contact: bounces and rest."""
        least = FRACTION_OF_PEAK * self.top_n
        peaks = [float(self.pulse_n[one.start : one.stop].max()) for one in self.later]
        self._set(bounces=sum(one > least for one in peaks), rest_force_n=self._rest())
        if self.marks.rest_force_n is None:
            self._find("no-rest", "the record ends before everything hangs still: no rest force")

    def _rest(self) -> float | None:
        after = self.clean_n.size - (self.slack if self.slack is not None else self.peak)
        for span_s in (REST_S, SHORT_REST_S):
            count = int(span_s * self.rate_hz)
            if count < 8 or count > 0.8 * after:
                continue
            piece = self.filtered_n[-count:] - self.zero_n
            halves = abs(float(piece[: count // 2].mean() - piece[count // 2 :].mean()))
            weight_n = self.setup.weight_n or 0.0
            still = max(4.0 * self.noise_n, 0.02 * weight_n, 0.004 * self.top_n)
            if float(piece.std()) < still and halves < still:
                mean_n = float(piece.mean())
                return mean_n if abs(mean_n) > still or not self._may_fly(count) else None
        return None

    def _may_fly(self, count: int) -> bool:
        """Whether the sled may still be up from its rebound in the last `count` samples.

        No rebound is faster than the fall, so no flight lasts longer than 2 v_in / g.
        """
        v_in = self._taut_speed()
        if v_in is None:
            return True
        last = self.later[-1].stop if self.later else (self.slack or self.peak)
        flight = 2.0 * v_in / STANDARD_GRAVITY_M_PER_S2 * self.rate_hz
        return self.clean_n.size - count < last + flight

    def _taut_speed(self) -> float | None:
        """Speed at onset of a fall without friction: from the height, else from its time."""
        if self.setup.height_m is not None:
            return float(np.sqrt(2 * STANDARD_GRAVITY_M_PER_S2 * self.setup.height_m))
        if self.marks.fall_time_s is not None:
            return STANDARD_GRAVITY_M_PER_S2 * self.marks.fall_time_s
        return None

    def _mark_closures(self) -> None:
        mass = self.setup.mass_kg
        gravity = STANDARD_GRAVITY_M_PER_S2
        v_in = self._taut_speed()
        self._set(taut_speed_m_s=v_in)
        if self.marks.rest_force_n is not None and mass:
            self._set(rest_closure=self.sign * self.marks.rest_force_n / (mass * gravity))
        v_out = self._rebound_speed()
        if v_in and v_out is not None:
            self._set(restitution=v_out / v_in)
        impulse, base_s = self.marks.impulse_ns, self.marks.base_duration_s
        if None in (mass, v_in, v_out, impulse, base_s):
            return
        assert mass and v_in and v_out is not None and impulse is not None and base_s is not None
        expected = mass * (v_in + v_out) + mass * gravity * base_s
        self._set(
            impulse_closure=self.sign * impulse / expected,
            displacement_closure_m=self._stretch_left(v_in),
        )

    def _rebound_speed(self) -> float | None:
        """Upward speed at slack from the flight to the next contact."""
        if self.slack is None or not self.later:
            return None
        flight_s = (self.later[0].start - self.slack) / self.rate_hz
        return 0.5 * STANDARD_GRAVITY_M_PER_S2 * flight_s if flight_s > 0.005 else None

    def _stretch_left(self, v_in: float) -> float:
        """Stretch at slack: g - F/m integrated twice, from nothing at onset."""
        assert self.slack is not None and self.setup.mass_kg
        first = int(np.ceil(self.onset))
        force = self.force_n[first : int(self.slack) + 1]
        if not force.size:
            return 0.0
        since_s = (first - self.onset) / self.rate_hz
        return float(motion(force, self.rate_hz, since_s, self.setup.mass_kg, v_in)[0][-1])

    def _mark_loss(self) -> None:
        found = find_loss(self.force_n, self.rate_hz, self.contact, self.peak, self.noise_n)
        if found is None:
            return
        at_s = found.index / self.rate_hz
        # What follows is the unloaded beam ringing in the cell, not the sled.
        self._set(break_time_s=at_s, break_force_n=self.sign * found.force_n, bounces=0)
        self._find(
            "loss-of-load",
            f"the force collapses from {found.force_n:.0f} N at {at_s:.4f} s, far faster than "
            "an elastic line unloads",
        )

    def _mark_wires(self) -> None:
        """Which break wire opened first, and at what force."""
        opened = [
            (at_s, name)
            for at_s, name in (
                (self.trace.article_wire_s, "article"),
                (self.trace.mount_wire_s, "mount"),
            )
            if at_s is not None
        ]
        if not opened:
            return
        opened.sort()
        (first_s, first), (last_s, last) = opened[0], opened[-1]
        at = min(round(first_s * self.rate_hz), self.force_n.size - 1)
        force = f"{self.sign * self.force_n[at]:.0f} N"
        if len(opened) == 1:
            text = f"the break wire of the {first} opened at {first_s:.4f} s, at {force}"
        elif (last_s - first_s) * self.rate_hz < WIRE_SAMPLES + 0.5:
            text = (
                f"both break wires opened at {first_s:.4f} s, at {force}: they are no more than "
                f"{1e6 * WIRE_SAMPLES / self.rate_hz:.0f} us apart, and their order is not known"
            )
        else:
            text = (
                f"the break wire of the {first} opened first, at {first_s:.4f} s and {force}, "
                f"{1000 * (last_s - first_s):.2f} ms before that of the {last}"
            )
        self._find("wires", text)

    def _mark_stretch(self) -> None:
        """Force over stretch, where the whole contact can be believed."""
        marks, mass, v_in = self.marks, self.setup.mass_kg, self.marks.taut_speed_m_s
        broke = marks.break_time_s is not None
        if broke:
            stop: float | None = marks.break_time_s * self.rate_hz  # type: ignore[operator]
        else:
            stop = self.slack
        if not mass or not v_in or stop is None or marks.clipped or marks.gap_in_contact:
            return
        found = force_over_stretch(
            self.force_n,
            self.rate_hz,
            onset=self.onset,
            stop=int(stop),
            mass_kg=mass,
            taut_speed_m_s=v_in,
            broke=broke,
        )
        self._set(**asdict(found))
        left_m = marks.displacement_closure_m
        if (
            broke
            or found.line_stiffness_n_per_m is not None
            or not found.max_stretch_m
            or not left_m
        ):
            return
        if left_m > max(SLIP_LEAST * found.max_stretch_m, SLIP_LEAST_M):
            self._find(
                "slip",
                "the force is no function of stretch, and at slack the sled is "
                f"{1000 * left_m:.0f} mm below where the line came taut: it slipped, or something "
                "yielded or tore",
            )

    def _mark_uncertainty(self) -> None:
        """Root sum of squares of standard uncertainties, times k = 2 (GUM, JCGM 100:2008)."""
        parts = (
            0.5 * self.trace.calibration_u_fraction * self.top_n,
            self.noise_n / np.sqrt(max(self.zero_samples, 1)),
            self.noise_n,
            self.trace.quantum_n / np.sqrt(12.0),
        )
        self._set(peak_force_expanded_u_n=2.0 * float(np.sqrt(sum(part**2 for part in parts))))
