"""Marking: from a trace to its marks.

`mark` looks where things are (zero, contacts, onset, peak, slack) and then takes one
figure after the other; what each of them means stands in `marks.Marks`.
"""

from __future__ import annotations

from dataclasses import asdict, replace

import numpy as np
import numpy.typing as npt

from tautlog.analysis import impossible, slip
from tautlog.analysis.bounces import LEAST_OF_PEAK, Pull, find_pulls, pull_between
from tautlog.analysis.budgets import (
    Chain,
    Pull1,
    displacement_budget,
    impulse_budget,
    line_budget,
    peak_budget,
    rest_budget,
)
from tautlog.analysis.clipping import CUT, UNCLEAR, WHOLE, Crest, top_of
from tautlog.analysis.completeness import (
    MISSING,
    MOST_HEIGHT_M,
    Shown,
    cut_short,
    starts_late,
    where_it_ends,
)
from tautlog.analysis.contacts import (
    EDGE_SIGMAS,
    FRACTION_OF_PEAK,
    GLITCH_SAMPLES,
    LEAST_FLIGHT_S,
    SIGMAS,
    SMOOTH_S,
    Contact,
    find_contacts,
    onset_index,
    rise_through,
    slack_index,
    smoothed,
    span_above,
    without_glitches,
    without_ringing,
)
from tautlog.analysis.damage import (
    RIPPING,
    dead_from,
    find_serration,
    ring_after,
    two_peaks,
)
from tautlog.analysis.ending import ending
from tautlog.analysis.estimate import Estimate, Observed, Said, estimate
from tautlog.analysis.filters import MINUS_3_DB_PER_CLASS, cfc_filter, highest_class_for
from tautlog.analysis.fixture import find_ring
from tautlog.analysis.loss import Loss, find_collapse, find_loss
from tautlog.analysis.mains import mains_component
from tautlog.analysis.peak import Correction, Top, corrections
from tautlog.analysis.rails import rails_of
from tautlog.analysis.spectrum import quasi_static_above_hz
from tautlog.analysis.stretch import force_over_stretch, motion
from tautlog.analysis.swing import odd_swing_n
from tautlog.analysis.zero import (
    false_floor,
    flight_window,
    rest_of,
    slack_window,
    still_level,
    zero_of,
)
from tautlog.model.force_curve import ForceCurve
from tautlog.model.limits import BANDWIDTH_PER_PULSE, LARGEST_N, RISE_PER_BANDWIDTH
from tautlog.model.marks import BEFORE_ONSET, Bounce, Finding, Marks
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2, DropSetup, Trace
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.model.uncertainty import Budget, one_pole_loss

FloatArray = npt.NDArray[np.float64]

PAD_S = 0.1  # that a filter needs before a pulse
NEAR_CONTACT_S = 0.05  # a gap this close to the contact counts as in it
FREE_FALL_S = 0.1  # that a fall of 50 mm takes: no line is taut sooner
FIRST_LOOK_S = 0.03  # of the trace, for a first zero when there is no release
LEAST_SAMPLES = 16
WIRE_SAMPLES = 2.0  # that the stamp of an edge may be off (tests/emulated)
MAINS_LEAST = 0.01  # of the peak: hum below it is not worth a word
MAINS_S = 0.2
MAINS_MOST_S = 1.0  # of the quiet stretch that is looked at
SOONEST_FALL = 0.9  # of the time that the height asks for
STILL_FALLING = 0.2  # of the speed at onset
TAUT_SWING = 2.2  # times m g: a sled that swings on a taut line pulls by less at its most
SHORTEST_FLIGHT_S = 0.005
MOST_TAKEN = 0.7  # of a pull's impulse: a force that falls after it does so at its end


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
    force = np.where(np.abs(trace.force_n) < LARGEST_N, trace.force_n, np.nan)
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
    if trace.release_doubt:
        text = f"the time of the release is in doubt: {trace.release_doubt}"
        marks = _with(marks, "release-doubt", text)
    if trace.release_note:
        marks = _with(marks, "release-knock", trace.release_note)
    for one in trace.contradictions:
        marks = _with(marks, one.code, one.text)
    if trace.calibration_expired:
        marks = _with(marks, "calibration-expired", "the calibration was too old on that day")
    if force.size - marks.missing_samples < LEAST_SAMPLES:
        bare = ForceCurve(trace.sample_rate_hz, force.copy(), force)
        text = f"the trace has only {force.size} samples"
        return replace(_with(marks, "no-samples", text, curve=bare), record_ends=BEFORE_ONSET)
    filled = _filled(force, missing)
    dead = dead_from(filled, trace.clipped, trace.sample_rate_hz, trace.quantum_n)
    if dead is not None:
        # What a pulled cable leaves behind is no force.
        missing = missing.copy()
        missing[dead:] = True
        filled = _filled(np.where(missing, np.nan, force), missing)
    return _Marking(trace, setup, filled, missing, dead, zero == "slack", marks).result()


def _filled(force: FloatArray, missing: npt.NDArray[np.bool_]) -> FloatArray:
    """Fill for finding things only: a gap is reported, and its figures are bounds."""
    if not missing.any():
        return force
    index = np.arange(force.size)
    return np.interp(index, index[~missing], force[~missing])


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

    contact: Contact
    onset: float
    slack: float | None
    top_n: float
    loss: Loss | None

    def __init__(
        self,
        trace: Trace,
        setup: DropSetup,
        filled: FloatArray,
        missing: npt.NDArray[np.bool_],
        dead: int | None,
        take_zero: bool,
        marks: Marks,
    ) -> None:
        self.trace, self.setup = trace, setup
        self.missing, self.dead = missing, dead
        self.rate_hz = trace.sample_rate_hz
        self.take_zero = take_zero
        self.marks = marks
        self.clean_n, self.spikes = without_glitches(filled, self.rate_hz)
        cfc = marks.cfc
        self.filtered_n = cfc_filter(self.clean_n, self.rate_hz, cfc) if cfc else self.clean_n
        self.smooth_n = smoothed(self.clean_n, self.rate_hz)
        self.pulls: tuple[Pull, ...] = ()
        self.plateau = Crest(WHOLE)
        self.agreed: Estimate | None = None
        self.parted: float | None = None
        self.ends: tuple[float | None, float | None] = (None, None)

    def result(self) -> Marks:
        self._note_glitches()
        window = self._first_window()
        found = self._locate(window)
        if found is not None:
            # Now that the onset is known, the zero can be taken where it belongs.
            first, window = window, slack_window(found, self._release()) or window
            found = self._locate(window)
            if found is None:  # that window was not slack: it told nothing
                window = first
                found = self._locate(window)
        self._mark_zero(window)
        if found is None:
            self._set(gap_in_contact=self._hidden_pull(self.clean_n.size))
            self._set(clipped=self._mark_rails(None))
            swing_n = odd_swing_n(self.filtered_n, self.clean_n, self.setup.weight_n)
            if swing_n is None:
                self._find("never-taut", "no contact stands out of the noise: it never came taut")
            else:
                text = (
                    f"the force swings by {swing_n:.0f} N and does not look like a pull of a line: "
                    "hum, a loose cable or another signal"
                )
                self._find("not-a-pull", text)
            self._mark_completeness(None)
            self._set(curve=self._curve(sign=1))
            return self.marks
        self._find_loss()
        self._mark_contact()
        self._mark_times()
        self._note_bandwidth()
        self._mark_flags(window)
        self._mark_impulse()
        self._mark_after()
        self._mark_estimate()
        self._mark_closures(window)
        self._mark_plateau()
        self._mark_loss()
        self._mark_wires()
        self._mark_serration()
        self._mark_stretch()
        self._mark_damage()
        self._mark_peak_budget(window)
        self._mark_completeness(found)
        self._mark_impossible(window)
        self._mark_line_peak(window)
        self._set(curve=self._curve(sign=int(self.sign)))
        return self.marks

    def _mark_impossible(self, window: slice) -> None:
        """What no sled of that mass and height can have done."""
        doubts = [self._doubt_of_momentum()]
        if self.setup.height_m:
            found_m = None if self.agreed is None else self.agreed.height_m
            doubts.append(impossible.of_height(self.setup.height_m, self._fall_time(), found_m))
        if self.loss is None or self._thrown_back():
            stop = self.contact.stop if self.slack is None else int(self.slack)
            noise_n = float(np.std(self.filtered_n[window]))
            place = (int(np.ceil(self.onset)), stop, self.peak)
            doubts.append(impossible.of_burst(self.pulse_n, self.rate_hz, *place, noise_n))
        for doubt in doubts:
            if doubt is not None and not self.marks.has(doubt.code):
                self._find(doubt.code, doubt.text)

    def _doubt_of_momentum(self) -> impossible.Doubt | None:
        mass, v_in, first = self.setup.mass_kg, self._taut_speed(), int(np.ceil(self.onset))
        stop = self.contact.stop if self.slack is None else int(self.slack) + 1
        force = self.force_n[first:stop]
        if not mass or not v_in or not force.size or self.loss is not None:
            return None
        speed = motion(force, self.rate_hz, (first - self.onset) / self.rate_hz, mass, v_in)[1]
        whole = self.slack is not None and not (self.marks.clipped or self.marks.gap_in_contact)
        return impossible.of_momentum(speed, v_in, went_slack=whole)

    def _mark_completeness(self, onset: float | None) -> None:
        """What of the drop the record does not hold."""
        present = np.flatnonzero(~self.missing)
        last = int(present[-1])
        rests = self.marks.rest_force_n is not None or self.marks.break_time_s is not None
        restless = 0.0
        if onset is not None and self.trace.release_time_s is None:
            first_n = self.force_n[self._first_window()]
            restless = float(np.sqrt(np.mean(first_n**2))) / self.top()
        shown = Shown(
            last / self.rate_hz,
            self.trace.release_time_s,
            None if onset is None else onset / self.rate_hz,
            self.marks.peak_time_s,
            None if onset is None or self.slack is None else self.slack / self.rate_hz,
            self.setup.height_m,
            0.0 if onset is None else float(self.even_n[last]) / self.top(),
            bool(self.marks.bounces),
            rests,
            self.trace.completeness is not None,
            restless,
        )
        place, why = where_it_ends(shown), cut_short(self.trace.completeness)
        self._set(record_ends=place)
        if starts_late(shown):
            self._find("starts-late", "the trace begins in the pull: its onset is not in it")
        if why:
            lacking = "" if place is None else f"; what is missing: {MISSING[place]}"
            self._find("cut-short", f"{why}{lacking}")

    # Where things are

    def _release(self) -> float | None:
        release_s = self.trace.release_time_s
        return None if release_s is None else release_s * self.rate_hz

    def _first_window(self) -> slice:
        release = self._release()
        if release is None or release < 8:
            return slice(0, max(8, int(FIRST_LOOK_S * self.rate_hz)))
        # Before the release a hand may be on the line; right after it nobody is.
        after = slice(int(release), int(release + FREE_FALL_S * self.rate_hz))
        if self.clean_n.size >= after.stop and after.stop - after.start >= 8:
            return after
        stop = min(int(release), self.clean_n.size)
        return slice(max(0, stop - int(0.5 * self.rate_hz)), stop)

    def _locate(self, window: slice) -> float | None:
        """Zero, sign, threshold and the measured contact; return its onset."""
        self.zero = zero_of(self.clean_n[window], self.rate_hz)
        zero_n = self.zero.value_n if self.take_zero else 0.0
        self.zero_n, self.noise_n = zero_n, self.zero.noise_n
        # Of neighbours' differences: hum and drift are not in it.
        self.quick_n = float(np.std(np.diff(self.clean_n[window]))) / np.sqrt(2.0)
        search = self.filtered_n - zero_n
        release = self._release()
        if release is not None:
            # What happened before the release was no drop.
            search = search.copy()
            search[: max(int(release), 0)] = 0.0
        self.peak = int(np.argmax(np.where(self.missing, 0.0, np.abs(search))))
        self.sign = -1.0 if search[self.peak] < 0 else 1.0
        top_n = abs(float(search[self.peak]))
        self.force_n = self.sign * (self.clean_n - zero_n)
        self.pulse_n = self.sign * (self.filtered_n - zero_n)
        self.even_n = self.sign * (self.smooth_n - zero_n)
        if not top_n > max(8.0 * self.noise_n, 4.0 * self.trace.quantum_n, 1e-9):
            return None
        self.even_noise_n = float(np.std(self.smooth_n[window]))
        self.threshold_n = max(SIGMAS * self.even_noise_n, FRACTION_OF_PEAK * top_n)
        contacts = without_ringing(
            find_contacts(self.even_n, self.rate_hz, self.threshold_n),
            self.even_n,
            self.rate_hz,
            self.even_noise_n,
        )
        at = next(
            (i for i, one in enumerate(contacts) if one.start - 2 <= self.peak <= one.stop + 2),
            None,
        )
        if at is None:
            return None
        at = self._first_of_equals(contacts[: at + 1], top_n)
        self.contact, self.later = contacts[at], contacts[at + 1 :]
        # Smoothing spreads an edge: where the noise allows, edges are those of the samples.
        quiet = self.threshold_n > EDGE_SIGMAS * self.noise_n
        self.edge_n = self.force_n if quiet else self.even_n
        self.reach = max(int(SMOOTH_S * self.rate_hz), 1) if quiet else 1
        self.onset = onset_index(self.edge_n, self.contact, self.threshold_n, self.peak, self.reach)
        self.slack = slack_index(self.edge_n, self.contact, self.threshold_n, self.peak, self.reach)
        return self.onset

    def _first_of_equals(self, contacts: list[Contact], top_n: float) -> int:
        """Place of the first contact whose peak is the largest but for noise.

        A line without loss gives bounces as high as the first, and a limit makes all equal.
        """
        for place, one in enumerate(contacts[:-1]):
            piece = self.pulse_n[one.start : one.stop]
            if float(piece.max()) >= top_n - 4.0 * self.noise_n - self.trace.quantum_n:
                self.peak = self._top_of(one.start, one.stop)
                return place
        return len(contacts) - 1

    def _top_of(self, start: int, stop: int) -> int:
        """Place of the largest class-filtered force among samples that are there."""
        there = np.where(self.missing[start:stop], -np.inf, self.pulse_n[start:stop])
        return start + int(np.argmax(there))

    def _curve(self, sign: int) -> ForceCurve:
        """What all figures were taken from, to be shown and exported."""
        zeroed = self.sign * self.pulse_n
        raw = np.where(self.missing, np.nan, self.trace.force_n) - self.zero_n
        start, stop = self.ends
        return ForceCurve(
            sample_rate_hz=self.rate_hz,
            force_n=np.where(self.missing, np.nan, zeroed),
            unfiltered_n=raw,
            cfc=self.marks.cfc,
            zero_n=self.zero_n if self.take_zero else None,
            sign=sign,
            break_time_s=self.parted,
            duration_from_s=None if start is None else start / self.rate_hz,
            duration_to_s=None if stop is None else stop / self.rate_hz,
            glitches=int(self.spikes.size),
        )

    def _set(self, **figures: object) -> None:
        self.marks = replace(self.marks, **figures)  # type: ignore[arg-type]

    def _find(self, code: str, text: str) -> None:
        self.marks = _with(self.marks, code, text)

    def _add_budget(self, budget: Budget) -> None:
        self._set(budgets=(*self.marks.budgets, budget))

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
        release = self._release()
        if self.take_zero and release is not None and release >= 8:
            before_n = still_level(self.clean_n[: int(release)], self.rate_hz, self.noise_n)
            drift = None if before_n is None else before_n - self.zero_n
            if before_n is None:
                self._find(
                    "handled",
                    "the force was not still before the release: a hand on the line, or a sled "
                    "that moved; the zero is that of the fall, its drift is not known",
                )
        self._set(
            zero_offset_n=self.zero_n if self.take_zero else None,
            noise_n=self.noise_n,
            zero_slope_n_per_s=self.zero.slope_n_per_s,
            zero_drift_n=drift,
        )
        if self.dead is not None:
            self._find(
                "cable-lost",
                f"from {self.dead / self.rate_hz:.4f} s on the signal is dead: a pulled cable or "
                "an open input, not the load path; what came before is kept",
            )
        self._mark_mains(window)

    def _mark_mains(self, window: slice) -> None:
        """Hum in the quiet before the line came taut."""
        quiet = self.clean_n[max(0, window.stop - int(MAINS_MOST_S * self.rate_hz)) : window.stop]
        if quiet.size < MAINS_S * self.rate_hz:
            return
        mains_hz, mains_n = mains_component(quiet, self.rate_hz)
        self._set(mains_hz=mains_hz, mains_n=mains_n if mains_hz is not None else None)

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
        if self.marks.mains_hz and (self.marks.mains_n or 0.0) > MAINS_LEAST * peak_n:
            self._find(
                "mains-hum",
                f"hum of {self.marks.mains_n:.1f} N at {self.marks.mains_hz:g} Hz: it lies in the "
                "pulse's band, no filter takes it away; mend shield and ground",
            )

    def _mark_times(self) -> None:
        rate, top = self.rate_hz, self.top_n
        # The filter's own foreshoot may reach before the onset.
        start = max(0, self.contact.start - int(0.02 * rate))
        low = rise_through(self.pulse_n, 0.1 * top, start, self.peak)
        high = rise_through(self.pulse_n, 0.9 * top, start, self.peak)
        left, right = span_above(self.pulse_n, 0.1 * top, self.peak)
        half_left, half_right = span_above(self.pulse_n, 0.5 * top, self.peak)
        if left is not None and right is not None:
            self.ends = left, right
        onset_s = self.onset / rate
        slack_s = None if self.slack is None else self.slack / rate
        base_s = None if slack_s is None else slack_s - onset_s
        self._set(
            onset_time_s=onset_s,
            slack_time_s=slack_s,
            rise_time_s=None if low is None or high is None else (high - low) / rate,
            duration_s=None if left is None or right is None else (right - left) / rate,
            fwhm_s=None
            if half_left is None or half_right is None
            else (half_right - half_left) / rate,
            base_duration_s=base_s,
            bandwidth_needed_hz=BANDWIDTH_PER_PULSE / base_s if base_s else None,
            fall_time_s=self._fall_time(),
        )
        if right is None:
            self._find(
                "load-stays", "the force never falls below 10 % of the peak again: no duration"
            )

    def _note_bandwidth(self) -> None:
        """What an amplifier that nobody stated, or a slow one, leaves open of the peak."""
        bandwidth_hz, rise_s = self.trace.bandwidth_hz, self.marks.rise_time_s
        if not bandwidth_hz > 0.0:
            needed_hz, base_s = self.marks.bandwidth_needed_hz, self.marks.base_duration_s
            much = ""
            if needed_hz and base_s:
                lost = 100.0 * one_pole_loss(needed_hz, base_s)
                much = (
                    f"; one pole at {needed_hz:.0f} Hz would take {lost:.1f} %, a slower one more"
                )
            self._find(
                "bandwidth-unknown",
                "the amplifier's bandwidth is not stated: what it took off the peak is not known, "
                f"and not in its uncertainty{much}; measure it and enter bandwidth_hz under "
                "[calibration]",
            )
        elif rise_s is not None and rise_s < RISE_PER_BANDWIDTH / bandwidth_hz:
            self._find(
                "bandwidth-low",
                f"the force rises in {1e3 * rise_s:.2f} ms, an amplifier of {bandwidth_hz:g} Hz "
                f"needs {1e3 * RISE_PER_BANDWIDTH / bandwidth_hz:.2f} ms to show more than itself: "
                "how high the peak was is open; take a faster one, or a softer line",
            )

    def _mark_flags(self, window: slice) -> None:
        margin = int(NEAR_CONTACT_S * self.rate_hz)
        near = slice(max(0, self.contact.start - margin), self.contact.stop + margin)
        gap = bool(self.missing[near].any()) or self._hidden_pull(near.start)
        clipped = self._mark_rails(self.contact)
        self._set(clipped=clipped or self._mark_top(window), gap_in_contact=gap)
        if gap:
            self._find("gap-in-contact", "samples are missing in the contact or next to it")
        elif self.marks.missing_samples:
            self._find("gap", f"{self.marks.missing_samples} samples are missing, none near it")

    def _mark_rails(self, contact: Contact | None) -> bool:
        """Samples at a known limit; return whether the contact, or all there is, is at one."""
        stop = self.force_n.size if self.dead is None else self.dead
        rails = rails_of(
            self.trace.clipped[:stop],
            self.rate_hz,
            self.spikes,
            release_s=self.trace.release_time_s,
            contact=None if contact is None else (contact.start, contact.stop),
            broke=None if contact is None or self.loss is None else self.loss.index,
        )
        if rails is None:
            return False
        self._find(rails.code, rails.text)
        return rails.of_contact

    def _mark_top(self, window: slice) -> bool:
        """Whether the top of the contact is cut off, by its shape."""
        piece = slice(self.contact.start, self.contact.stop)
        self.plateau = top_of(
            self.force_n[piece],
            self.rate_hz,
            self.even_n[piece],
            self.sign * (self.clean_n[window] - self.zero_n),
            self.trace.quantum_n,
            broke=self.loss is not None,
            bandwidth_hz=self.trace.bandwidth_hz,
        )
        if self.plateau.state == UNCLEAR:
            self._find(
                "clip-not-excluded",
                "whether the top is whole or cut off by a rail cannot be told: noise, ringing or "
                "the rate hide its shape",
            )
        if self.plateau.state != CUT:
            return False
        self._find(
            "flat-top",
            f"the top is flat at {self.marks.peak_force_unfiltered_n:.0f} N: an amplifier at "
            "its rail, or a load path that yields",
        )
        return True

    def _mark_plateau(self) -> None:
        """Rail or yield: whether the impulse lacks what a rail would have cut away."""
        closure, top = self.marks.impulse_closure, self.plateau
        if closure is None or not self.marks.has("flat-top") or not self.marks.impulse_ns:
            return
        lacking = top.missing_ns(self.top_n) / abs(self.marks.impulse_ns)
        spread = self.marks.impulse_closure_expanded_u or 0.0
        lost = lacking / (1.0 + lacking)
        if lost <= 2.0 * spread:
            return
        if abs(closure - 1.0) <= spread:
            self._find(
                "plateau-whole",
                f"the impulse is whole, and a rail would have cut {100 * lost:.0f} % from it: "
                "something yielded, slipped or held",
            )
        elif abs(1.0 - closure - lost) <= max(spread, 0.3 * lost):
            self._find(
                "plateau-cut",
                f"the impulse lacks {100 * (1.0 - closure):.0f} %, as a rail at this level would "
                "have cut: the amplifier was at its limit",
            )

    def _hidden_pull(self, stop: int) -> bool:
        """Whether samples are missing where the first pull should have been.

        What is seen after it may be a bounce.
        """
        if not self.missing[: max(stop, 0)].any():
            return False
        release, height_m = self._release(), self.setup.height_m
        fall_s = np.sqrt(2.0 * (MOST_HEIGHT_M if height_m is None else height_m) / G)
        if release is None:
            # After the first pull the sled flies no longer than it fell up and down.
            start = stop - 2.0 * fall_s * self.rate_hz
        else:
            soonest_s = 0.0 if height_m is None else SOONEST_FALL * fall_s - NEAR_CONTACT_S
            start = release + soonest_s * self.rate_hz
        return bool(self.missing[max(int(start), 0) : stop].any())

    def _mark_impulse(self) -> None:
        if self.slack is None or self.marks.gap_in_contact:
            return
        impulse_ns = pull_between(self.force_n, self.rate_hz, self.onset, self.slack).impulse_ns
        pulse = self.pulse_n[int(np.ceil(self.onset)) : int(self.slack) + 1]
        self._set(
            impulse_ns=self.sign * impulse_ns,
            half_sine_s=0.5 * np.pi * impulse_ns / self.top_n,
            quasi_static_above_hz=quasi_static_above_hz(pulse, self.rate_hz),
        )

    def _mark_after(self) -> None:
        """What comes after the contact: bounces, rest and the zero between them."""
        rest = rest_of(
            self.filtered_n - self.zero_n,
            self.rate_hz,
            after=self.slack if self.slack is not None else self.peak,
            last_slack=self.later[-1].stop if self.later else (self.slack or self.peak),
            still_n=max(
                4.0 * self.noise_n, 0.02 * (self.setup.weight_n or 0.0), 0.004 * self.top_n
            ),
            taut_speed_m_s=self._taut_speed(),
        )
        if self.dead is not None:
            rest = None
        bounces = self._bounces()
        self._set(bounces=len(bounces), bounce_list=bounces, rest_force_n=rest)
        if rest is None:
            self._find("no-rest", "the record ends before everything hangs still: no rest force")
        if self.marks.gap_in_contact:
            return
        self.pulls = find_pulls(
            self.force_n,
            self.edge_n,
            self.rate_hz,
            [self.contact, *self.later],
            self.threshold_n,
            self.reach,
        )

    def _bounces(self) -> tuple[Bounce, ...]:
        found = []
        slack = self.slack if self.slack is not None else float(self.contact.stop)
        for one in self.later:
            peak_n = float(self.pulse_n[one.start : one.stop].max())
            if peak_n > FRACTION_OF_PEAK * self.top_n:
                flight_s = (one.start - slack) / self.rate_hz
                found.append(Bounce(one.start / self.rate_hz, self.sign * peak_n, flight_s))
            slack = float(one.stop)
        return tuple(found)

    def _taut_speed(self) -> float | None:
        """Speed at onset: from the height, with friction if it is known; else from its time."""
        if self.setup.height_m is not None:
            friction = self.agreed.sure_friction if self.agreed is not None else 0.0
            way = 2.0 * STANDARD_GRAVITY_M_PER_S2 * self.setup.height_m
            return float(np.sqrt(way * (1.0 - friction)))
        fall_s = self._fall_time()
        return None if fall_s is None else STANDARD_GRAVITY_M_PER_S2 * fall_s

    def _fall_time(self) -> float | None:
        """Seconds from the release switch to the onset; None where the switch is in doubt.

        Friction and delay of the latch are told by it, and so by nothing where it is not.
        """
        release_s = self.trace.release_time_s
        if release_s is None or self.trace.release_doubt:
            return None
        return self.onset / self.rate_hz - release_s

    def _sure_friction_n(self) -> float:
        """Friction where the drop tells it above its uncertainty, else 0."""
        fraction = self.agreed.sure_friction if self.agreed is not None else 0.0
        return fraction * (self.setup.weight_n or 0.0)

    def _zero_u(self) -> float:
        return max(self.zero.u_n, self.trace.quantum_n / np.sqrt(12.0))

    def _mark_estimate(self) -> None:
        """What makes fall time, pulls, flights and rest agree."""
        mass, height = self.setup.mass_kg, self.setup.height_m
        if not mass or not height or self.marks.clipped or self.marks.gap_in_contact:
            return
        # What has let go hangs no more: nothing at rest says nothing of mass or gain.
        rest = None if self.loss is not None else self.marks.rest_force_n
        found = estimate(
            Observed(
                self.pulls,
                self._fall_time(),
                self.sign * rest if rest is not None else None,
                self._zero_u(),
                1.0 / self.rate_hz,
            ),
            Said(mass, height, self._chain().force_u_fraction(self.top_n)),
        )
        if found is None:
            return
        self.agreed = found
        weight_n = mass * STANDARD_GRAVITY_M_PER_S2
        if found.agrees and len(self.pulls) > 1:
            self._set(force_scale=found.scale, force_scale_expanded_u=2.0 * found.scale_u)
        if found.tells_friction and len(self.pulls) > 1:
            self._set(
                friction_n=weight_n * found.friction_fraction,
                friction_expanded_u_n=2.0 * weight_n * found.friction_u,
            )
        if found.tells_delay:
            self._set(
                release_delay_s=found.delay_s, release_delay_expanded_u_s=2.0 * found.delay_u_s
            )
            self._find(
                "late-latch",
                f"the sled was let go {1000 * found.delay_s:.0f} ms after the switch opened "
                f"(+/- {2000 * found.delay_u_s:.0f} ms): this is no friction",
            )
        if not found.agrees and found.wrong:
            self._find(f"disagree-{found.wrong}", found.words(mass, height))

    def _chain(self) -> Chain:
        return Chain(
            self.trace.calibration_u_fraction,
            self.trace.calibration_u_n,
            self.trace.covered_n,
            self.trace.quantum_n,
            self.trace.bandwidth_hz,
            self.zero.u_n,
            self.zero.slope_n_per_s,
            0.0 if self.take_zero else self.zero.value_n,
        )

    def _mark_closures(self, window: slice) -> None:
        mass, rest = self.setup.mass_kg, self.marks.rest_force_n
        v_in = self._taut_speed()
        self._set(taut_speed_m_s=v_in)
        told = self.agreed if self.agreed is not None and self.agreed.tells_friction else None
        if rest is not None and mass:
            friction = None if told is None else told.friction_fraction
            since_s = (self.clean_n.size - 0.5 * (window.start + window.stop)) / self.rate_hz
            budget = rest_budget(self.sign * rest, mass, self._chain(), friction, since_s)
            self._set(rest_closure=budget.value, rest_closure_expanded_u=budget.expanded_u)
            self._add_budget(budget)
        v_out = self._rebound_speed()
        if v_in and v_out is not None:
            self._set(restitution=v_out / v_in)
        if not mass or not v_in or self.slack is None or self.marks.impulse_ns is None:
            return
        pull = pull_between(self.force_n, self.rate_hz, self.onset, self.slack)
        first = Pull1(
            mass,
            self.setup.height_m,
            v_in,
            pull.impulse_ns,
            pull.moment_ns2,
            pull.length_s,
            None if told is None else told.friction_u,
        )
        if v_out is not None:
            budget = impulse_budget(first, v_out, self._chain(), self.top_n)
            self._set(impulse_closure=budget.value, impulse_closure_expanded_u=budget.expanded_u)
            self._add_budget(budget)
        if self.loss is not None:
            return
        budget = displacement_budget(
            first, self._stretch_left(mass, v_in), self._chain(), self.top_n
        )
        self._set(
            displacement_closure_m=budget.value,
            displacement_closure_expanded_u_m=budget.expanded_u,
        )
        self._add_budget(budget)

    def _rebound_speed(self) -> float | None:
        """Upward speed at slack from the flight to the next contact."""
        if self.slack is None or not self.later:
            return None
        if self.agreed is not None and self.agreed.agrees:
            return self.agreed.speed_out_m_s
        following = (
            self.pulls[1].onset_s * self.rate_hz if len(self.pulls) > 1 else self.later[0].start
        )
        flight_s = (following - self.slack) / self.rate_hz
        if flight_s <= SHORTEST_FLIGHT_S:
            return None
        return 0.5 * STANDARD_GRAVITY_M_PER_S2 * flight_s

    def _stretch_left(self, mass_kg: float, v_in: float) -> float:
        """Stretch at slack: g - F/m integrated twice, from nothing at onset."""
        assert self.slack is not None
        first = int(np.ceil(self.onset))
        force = self.force_n[first : int(self.slack) + 1]
        if not force.size:
            return 0.0
        since_s = (first - self.onset) / self.rate_hz
        friction_n = self._sure_friction_n()
        return float(motion(force, self.rate_hz, since_s, mass_kg, v_in, friction_n)[0][-1])

    def _find_loss(self) -> None:
        """See whether the load path let go; if so, filter the force up to that only."""
        loss = find_loss(self.force_n, self.rate_hz, self.contact, self.peak, self.noise_n)
        if loss is None:
            loss = self._loss_by_momentum()
        if loss is not None and self.dead is not None and loss.index >= self.dead - self.reach:
            loss = None  # the cable went, not the load path
        if loss is not None and self._was_done(int(loss.index)) and self._thrown_back():
            loss = None  # a pull that ends while its fixture rings, and a sled that is caught again
        self.loss = loss
        if loss is None:
            return
        broke = int(loss.index)
        if not self.contact.start < broke < self.contact.stop or self.peak > broke:
            return  # there was more to come: no end of the load
        # The class would smear the collapse into the force that was carried before it.
        start = max(self.contact.start - int(PAD_S * self.rate_hz), 0)
        before = self.force_n[start : broke + 1]
        self.pulse_n = self.pulse_n.copy()
        if self.marks.cfc is not None:
            self.pulse_n[start : broke + 1] = cfc_filter(before, self.rate_hz, self.marks.cfc)
        self.peak = self._top_of(self.contact.start, broke + 1)
        self.parted = broke / self.rate_hz

    def _was_done(self, index: int) -> bool:
        """Whether the pull had taken most of its momentum up to a sample."""
        taken = np.cumsum(self.force_n[int(self.onset) : self.contact.stop])
        place = min(max(index - int(self.onset), 0), taken.size - 1)
        return bool(taken.size and taken[place] > MOST_TAKEN * taken[-1])

    def _loss_by_momentum(self) -> Loss | None:
        """A collapse of the force while the sled still falls: no whole line goes slack then.

        For a break so soon after onset that the rise was as steep. A sled that is thrown
        back later was not let go, whatever the gain.
        """
        mass, v_in = self.setup.mass_kg, self._taut_speed()
        if not mass or not v_in or self.slack is None:
            return None
        loss = find_collapse(self.force_n, self.rate_hz, self.contact, self.noise_n)
        if loss is None or loss.index <= self.onset + 1:
            return None
        first = int(np.ceil(self.onset))
        speed = motion(
            self.force_n[first : int(loss.index) + 1],
            self.rate_hz,
            (first - self.onset) / self.rate_hz,
            mass,
            v_in,
        )[1]
        if speed[-1] < STILL_FALLING * v_in or self._thrown_back():
            return None
        return loss

    def _thrown_back(self) -> bool:
        before = self.contact.stop
        for one in self.later:
            flown = one.start - before > LEAST_FLIGHT_S * self.rate_hz
            if flown and self.even_n[one.start : one.stop].max() > LEAST_OF_PEAK * self.top():
                return True
            before = one.stop
        return False

    def top(self) -> float:
        """Largest smoothed force of the contact."""
        return float(self.even_n[self.contact.start : self.contact.stop].max())

    def _mark_loss(self) -> None:
        loss = self.loss
        if loss is None:
            self._mark_zero_shift(None)
            return
        at_s = loss.index / self.rate_hz
        self._set(break_time_s=at_s, break_force_n=self.sign * loss.force_n)
        if self._thrown_back():
            self._find("held-after", "the sled was thrown back and caught after that all the same")
        else:
            # What follows is the unloaded beam ringing in the cell, not the sled.
            self._set(bounces=0, bounce_list=())
        self._find(
            "loss-of-load",
            f"the force collapses from {loss.force_n:.0f} N at {at_s:.4f} s, far faster than "
            "an elastic line unloads",
        )
        ring = ring_after(self.force_n, self.rate_hz, int(loss.index), self.top_n, self.noise_n)
        if ring is not None:
            self._find(
                "beam-ring",
                f"after it the cell rings with +/- {ring[1]:.0f} N at {ring[0]:.0f} Hz: the "
                "unloaded beam springs back; no load is left",
            )
        self._mark_momentum_kept(int(loss.index))
        self._mark_zero_shift(loss.index)

    def _mark_momentum_kept(self, broke: int) -> None:
        """What the sled still had when it was let go: v - (J - m g t) / m."""
        mass, v_in = self.setup.mass_kg, self.marks.taut_speed_m_s
        first = int(np.ceil(self.onset))
        if not mass or not v_in or broke <= first or self.marks.clipped:
            return
        force = self.force_n[first : broke + 1]
        speed = motion(force, self.rate_hz, (first - self.onset) / self.rate_hz, mass, v_in)[1]
        kept = float(speed[-1])
        if kept < -1.1 * v_in:
            self._find(
                "impulse-too-large",
                "the line took more momentum than the sled can have had: gain, mass or height",
            )
        elif kept > 0.0:
            self._find(
                "let-go-speed",
                f"the sled was still falling at {kept:.1f} m/s when it was let go, by the "
                "momentum that the line had not taken",
            )

    def _mark_zero_shift(self, broke: float | None) -> None:
        """Zero of a slack line after the first pull, against that before."""
        if broke is not None:
            rest = self.marks.rest_force_n
            shift = self.sign * rest if rest is not None else None
        elif len(self.pulls) > 1:
            window = flight_window(
                self.pulls[0].slack_s * self.rate_hz, self.pulls[1].onset_s * self.rate_hz
            )
            shift = None if window is None else float(self.force_n[window].mean())
        elif self.dead is None:
            shift = false_floor(
                self.even_n,
                self.rate_hz,
                self.even_noise_n,
                self.peak,
                self.threshold_n,
                TAUT_SWING * (self.setup.weight_n or 0.0),
            )
        else:
            shift = None
        self._set(zero_shift_n=None if shift is None else self.sign * shift)

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
        mount_first = opened[0][1] == "mount" or (
            len(opened) == 2 and (last_s - first_s) * self.rate_hz < WIRE_SAMPLES + 0.5
        )
        self._find("wires", text)
        if mount_first:
            self._find("mount-moved", "the mount may have gone first: re-proof it")

    def _mark_stretch(self) -> None:
        """Force over stretch, where the whole contact can be believed."""
        marks, mass, v_in = self.marks, self.setup.mass_kg, self.marks.taut_speed_m_s
        broke = marks.break_time_s is not None
        if broke:
            stop: float | None = marks.break_time_s * self.rate_hz  # type: ignore[operator]
        else:
            stop = self.slack
        flat = marks.has("flat-top")  # a rail, or something that yields: impulse tells
        if not mass or not v_in or stop is None or marks.gap_in_contact:
            return
        if marks.clipped and not flat:
            return
        found = force_over_stretch(
            self.force_n,
            self.rate_hz,
            onset=self.onset,
            stop=int(stop),
            mass_kg=mass,
            taut_speed_m_s=v_in,
            friction_n=self._sure_friction_n(),
            broke=broke,
        )
        figures = asdict(found)
        figures.pop("force_at_none")
        misfit = figures.pop("misfit")
        if not flat:
            self._set(**figures)
        left_m = marks.displacement_closure_m
        if broke or not found.max_stretch_m or not left_m:
            return
        if flat:
            told = self._flat_slip_of(v_in)
        else:
            told = self._slip_of(mass, v_in, found.max_stretch_m, misfit)
        self._note_slip(told, left_m)

    def _fall_between(self, v_in: float) -> slip.Fall:
        agreed = self.agreed
        delay_s = agreed.delay_s if agreed is not None and agreed.tells_delay else 0.0
        return slip.fall_between(v_in, self.setup.height_m, self._fall_time(), delay_s)

    def _flat_slip_of(self, v_in: float) -> str:
        """Whether a flat top is that of a line that yields: only the flights can tell."""
        lost = slip.speed_lost(self.pulls, self._fall_between(v_in).least_m_s)
        gone = lost is not None and lost > slip.FLAT_LEAST_LOST
        return slip.SLIPPED if gone else slip.UNCLEAR

    def _slip_of(self, mass_kg: float, v_in: float, largest_m: float, misfit: float | None) -> str:
        """What the pulls together tell of a slip in the first."""
        agreed = self.agreed
        scale = agreed.scale if agreed is not None and agreed.agrees else 1.0
        return slip.tell(
            self.force_n,
            self.rate_hz,
            self.pulls,
            scale * mass_kg,
            self._fall_between(v_in),
            (self.marks.displacement_closure_expanded_u_m or 0.0) / largest_m,
            misfit,
        )

    def _note_slip(self, told: str, left_m: float) -> None:
        if told == slip.SLIPPED:
            self._find(
                "slip",
                "the first pull left and cost more than the line's own loss: at slack the sled is "
                f"{1000 * left_m:.0f} mm below where the line came taut; it slipped, or something "
                "yielded or tore",
            )
        elif told == slip.UNCLEAR:
            self._find(
                "slip-not-excluded",
                f"at slack the sled is {1000 * left_m:.0f} mm below where the line came taut: the "
                "pulls do not tell a slip of a tenth of the stretch from the line's own loss",
            )

    def _mark_serration(self) -> None:
        """What the rise and the top look like."""
        start = int(np.ceil(self.onset))
        self.serration = find_serration(self.even_n, start, self.peak, self.even_noise_n)
        self._set(serrations=self.serration.count)
        if self.serration.count >= RIPPING:
            self._find(
                "ripping",
                f"the force falls {self.serration.count} times on its way up: stitches that rip, "
                "a thread that strips or a knot that slips",
            )
        self._note_two_peaks(start)

    def _mark_damage(self) -> None:
        """Where damage began."""
        damage = self.serration.first
        if damage is None and self.marks.has("slip"):
            damage = self._plateau_start()
        broke_s = self.marks.break_time_s
        if broke_s is not None and (damage is None or damage / self.rate_hz > broke_s):
            self._set(first_damage_time_s=broke_s, first_damage_force_n=self.marks.break_force_n)
        elif damage is not None:
            self._set(
                first_damage_time_s=damage / self.rate_hz,
                first_damage_force_n=self.sign * float(self.even_n[damage]),
            )

    def _plateau_start(self) -> int:
        """First sample at which the force is as high as it gets, but for 2 %."""
        piece = self.even_n[self.contact.start : self.contact.stop]
        return self.contact.start + int(np.argmax(piece >= 0.98 * float(piece.max())))

    def _note_two_peaks(self, start: int) -> None:
        stop = self.contact.stop
        if self.marks.break_time_s is not None:
            stop = int(self.marks.break_time_s * self.rate_hz)
        found = two_peaks(self.even_n, self.rate_hz, start, stop)
        if found is None:
            return
        first, second = found
        closure = self.marks.impulse_closure
        if closure is None:
            cause = "no impulse check tells legs of unequal length from a touched stop"
        elif abs(closure - 1.0) <= max(0.05, self.marks.impulse_closure_expanded_u or 0.0):
            cause = "the impulse is whole: legs of unequal length, or something slipped or gave"
        elif closure < 1.0:
            cause = "impulse is lacking: a stop may have taken the rest"
        else:
            cause = "there is too much impulse: look at gain and mass first"
        self._find(
            "two-peaks",
            f"two peaks in one contact: {self.even_n[first]:.0f} N at "
            f"{first / self.rate_hz:.4f} s and {self.even_n[second]:.0f} N "
            f"{1000 * (second - first) / self.rate_hz:.1f} ms later; {cause}",
        )

    def _slope_at_loss(self) -> float:
        """Newtons per second at which the force rose in the last millisecond before a loss.

        By a straight line, so that noise does not tell it; since the onset where that is
        shorter; 0 without a loss, or where it fell.
        """
        if self.loss is None:
            return 0.0
        stop = int(self.loss.index) + 1
        start = max(stop - max(int(0.001 * self.rate_hz), 4), int(self.onset), 0)
        piece = self.force_n[start:stop]
        if piece.size < 2:
            return 0.0
        return max(float(np.polyfit(np.arange(piece.size), piece, 1)[0]) * self.rate_hz, 0.0)

    def _mark_peak_budget(self, window: slice) -> None:
        """The peak, corrected for what is known to be lost and gained, and its uncertainty."""
        since_s = max(self.peak - 0.5 * (window.start + window.stop), 0.0) / self.rate_hz
        found = () if self.marks.clipped or self.marks.gap_in_contact else self._corrections(window)
        found += self._ending_correction() if found else ()
        budget, added_n = peak_budget(self.top_n, self._chain(), since_s, found)
        self._set(
            peak_force_n=self.sign * budget.value,
            peak_correction_n=self.sign * added_n + 0.0,  # no "-0"
            peak_force_expanded_u_n=budget.expanded_u,
            peak_coverage_factor=budget.coverage_factor,
            budgets=(replace(budget, value=self.sign * budget.value), *self.marks.budgets),
        )

    def _ending_correction(self) -> tuple[Correction, ...]:
        """What the place of a break leaves open."""
        if self.loss is None or not self.contact.start < self.loss.index < self.contact.stop:
            return ()
        start = max(self.contact.start - int(PAD_S * self.rate_hz), 0)
        span = start, self.contact.start, int(self.loss.index)
        near = self.spikes[np.abs(self.spikes - span[2]) <= GLITCH_SAMPLES]
        left_out = self.sign * (self.trace.force_n[near] - self.zero_n)
        glitch_n = float(np.nanmax(left_out)) if near.size else None
        if glitch_n is not None and not glitch_n > self.force_n[span[2]]:
            glitch_n = None
        found = ending(self.force_n, self.rate_hz, self.marks.cfc, span, self.top_n, glitch_n)
        if found is None:
            return ()
        if found.unsure:
            self._find(
                "break-unsure",
                f"the force ended between {found.first / self.rate_hz:.4f} s and "
                f"{found.last / self.rate_hz:.4f} s, where the trace does not tell: its peak is "
                f"{found.lowest_n:.0f} N or more, up to {found.highest_n:.0f} N",
            )
        return (found.correction(),)

    def _mark_line_peak(self, window: slice) -> None:
        """What the line pulled, without what hangs between it and the cell.

        Told where the pull was seen whole and nothing rings while the line is slack: how much
        of a ringing mass lies between line and cell a trace does not tell.
        """
        marks = self.marks
        if marks.clipped or marks.gap_in_contact or self.dead is not None:
            return
        free = None if self.loss is not None or self.slack is None else self._free_swing()
        if free is None:
            return
        ring = find_ring(self.force_n[free], self.rate_hz, self.noise_n)
        if ring is not None:
            self._set(fixture_hz=ring.hz)
            return
        since_s = max(self.peak - 0.5 * (window.start + window.stop), 0.0) / self.rate_hz
        said = self.setup.fittings_kg, self.setup.mass_kg
        share = said[0] / said[1] if said[0] and said[1] else 0.0
        found = self._corrections(window)
        budget = line_budget(self.top_n, self._chain(), since_s, found, share, self.noise_n)
        self._set(
            line_peak_force_n=self.sign * budget.value,
            line_peak_force_expanded_u_n=budget.expanded_u,
            budgets=(*marks.budgets, replace(budget, value=self.sign * budget.value)),
        )

    def _free_swing(self) -> slice | None:
        """Samples in which the line is slack after the pull."""
        assert self.slack is not None
        start = max(int(self.slack), self.contact.stop) + int(0.001 * self.rate_hz)
        following = next(
            (one.start for one in self.later if one.start > start + LEAST_FLIGHT_S * self.rate_hz),
            self.force_n.size,
        )
        stop = int(following - 0.005 * self.rate_hz)
        return slice(start, stop) if stop > start else None

    def _corrections(self, window: slice) -> tuple[Correction, ...]:
        """What lies between the largest value of the curve and the peak of the cell's force."""
        rate, cfc = self.rate_hz, self.marks.cfc
        pad = int(PAD_S * rate)
        start = max(self.contact.start - pad, 0)
        stop = self.contact.stop + pad
        if self.parted is not None:
            stop = round(self.parted * rate) + 1
        curve = self.pulse_n[start:stop]
        shape = cfc or highest_class_for(rate)
        smooth = curve if cfc or not shape else cfc_filter(curve, rate, shape)
        at_edge = self.parted is not None and self.peak >= stop - 2  # the filter ends in a sample
        wide = cfc is None or at_edge
        filtered = self.force_n if wide else self.pulse_n
        noise_n = self.quick_n if wide else float(np.std(filtered[window]))
        apart_s = 1.0 / rate if wide else 1.0 / (2.0 * MINUS_3_DB_PER_CLASS * float(cfc or 1))
        return corrections(
            Top(
                curve,
                smooth,
                self.peak - start,
                rate,
                noise_n,
                apart_s,
                self.trace.bandwidth_hz,
                self._length_s(),
                self._slope_at_loss() if self.parted is not None else 0.0,
            )
        )

    def _length_s(self) -> float:
        """Length of the half-sine of the same impulse, or what comes next to it."""
        length_s = self.marks.half_sine_s or self.marks.duration_s or self.marks.base_duration_s
        return length_s or (self.contact.stop - self.contact.start) / self.rate_hz
