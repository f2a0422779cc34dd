"""Labels: the name of each figure of `Marks` in a report, with its unit.

JSON and scripts use the key of a figure; a reader gets its label. The definitions show both.
"""

from __future__ import annotations

LABELS = {
    "sample_rate_hz": "sample rate, Hz",
    "samples": "samples",
    "missing_samples": "missing samples",
    "clipped": "clipped",
    "gap_in_contact": "gap in the contact",
    "record_ends": "end of the record",
    "zero_offset_n": "zero offset, N",
    "noise_n": "noise, N rms",
    "zero_slope_n_per_s": "zero slope, N/s",
    "zero_drift_n": "zero drift, N",
    "zero_shift_n": "zero shift, N",
    "mains_hz": "mains frequency, Hz",
    "mains_n": "mains amplitude, N",
    "release_time_s": "release, s",
    "onset_time_s": "onset, s",
    "slack_time_s": "slack, s",
    "peak_force_n": "peak force, N",
    "peak_time_s": "peak time, s",
    "peak_correction_n": "correction of the peak, N",
    "peak_force_expanded_u_n": "U of the peak force, N",
    "peak_coverage_factor": "coverage factor of the peak force",
    "line_peak_force_n": "peak force of the line, N",
    "line_peak_force_expanded_u_n": "U of the peak force of the line, N",
    "fixture_hz": "ringing of the fixture, Hz",
    "cfc": "channel frequency class",
    "peak_force_unfiltered_n": "peak force, unfiltered, N",
    "bandwidth_needed_hz": "bandwidth needed, Hz",
    "rise_time_s": "rise time, s",
    "load_rate_n_per_s": "load rate from 10 to 90 %, N/s",
    "load_rate_expanded_u_n_per_s": "U of the load rate, N/s",
    "time_to_peak_s": "onset to peak, s",
    "above_levels": "durations above shares of the target, s",
    "duration_s": "duration at 10 % of the peak, s",
    "fwhm_s": "duration at 50 % of the peak, s",
    "base_duration_s": "duration from onset to slack, s",
    "impulse_ns": "impulse, N s",
    "half_sine_s": "equivalent half-sine, s",
    "quasi_static_above_hz": "quasi-static above, Hz",
    "serrations": "serrations",
    "rest_force_n": "rest force, N",
    "bounces": "bounces",
    "bounce_list": "list of bounces",
    "fall_time_s": "fall time, s",
    "taut_speed_m_s": "speed at onset, m/s",
    "restitution": "restitution",
    "impulse_closure": "impulse closure",
    "impulse_closure_expanded_u": "U of the impulse closure",
    "rest_closure": "rest closure",
    "rest_closure_expanded_u": "U of the rest closure",
    "displacement_closure_m": "displacement closure, m",
    "displacement_closure_expanded_u_m": "U of the displacement closure, m",
    "force_scale": "force scale",
    "force_scale_expanded_u": "U of the force scale",
    "friction_n": "friction, N",
    "friction_expanded_u_n": "U of the friction, N",
    "release_delay_s": "release delay, s",
    "release_delay_expanded_u_s": "U of the release delay, s",
    "break_time_s": "loss of load, s",
    "break_force_n": "force at loss of load, N",
    "first_damage_time_s": "first damage, s",
    "first_damage_force_n": "force at first damage, N",
    "flash_time_s": "sync flash, s",
    "flash_late_s": "sync flash after the release, s",
    "article_wire_s": "break wire at the article opens, s",
    "mount_wire_s": "break wire at the mount opens, s",
    "target_force_n": "target, N",
    "limit_force_n": "limit, N",
    "max_stretch_m": "largest stretch, m",
    "energy_absorbed_j": "energy absorbed, J",
    "loop_loss": "loop loss",
    "secant_stiffness_n_per_m": "secant stiffness, N/m",
    "line_stiffness_n_per_m": "stiffness of line and rig, N/m",
    "hardening_per_m2": "hardening, 1/m2",
    "damping_ratio": "damping ratio",
    "findings": "findings",
    "budgets": "uncertainty budgets",
    "curve": "force curve",
}


def label(key: str) -> str:
    """The label of a figure."""
    return LABELS.get(key, key)


def bare_label(key: str) -> str:
    """The label without its unit."""
    return label(key).partition(",")[0]
