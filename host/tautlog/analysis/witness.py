"""Witness: mass times the sled's accelerometer against the force, over the first contact.

Along upright rails, upwards positive, the accelerometer reads A = a + g, and

    m A = F + s f        s = +1 on the way down, -1 on the way up, f friction of the rails

by Newton's second law, whatever the line does. So r in m A = r F + c + d s + e F' is 1 if gain,
mass and accelerometer are right; c takes an offset, d the friction, e F' what one amplifier is
later than the other (its series to the first order). A wrong gain and a wrong mass both only
multiply: the ratio tells that one is wrong, not which. The step from free fall (f / m) to rest (g)
tells whether the accelerometer's own sensitivity is right.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from tautlog.analysis.budgets import Chain
from tautlog.analysis.filters import MINUS_3_DB_PER_CLASS, cfc_filter
from tautlog.analysis.zero import REST_S, slack_window
from tautlog.model.channels import Accelerometer
from tautlog.model.limits import FITTINGS_FRACTION, FRICTION_U, K_FACTOR, MASS_U_FRACTION
from tautlog.model.marks import Finding, Marks
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.model.trace import DropSetup, Trace
from tautlog.model.uncertainty import Budget, Part, one_pole_loss, rectangular
from tautlog.model.witness import AGREES, DISAGREES, Witness

FloatArray = npt.NDArray[np.float64]

LEAST_SHARE = 0.1  # of the peak: below it friction and ringing outweigh the force; own choice
LEAST_SAMPLES = 32  # of the contact; own choice
NEAR_RANGE = 0.98  # of the accelerometer's range: from here on it may be cut; own choice
TELLS = 0.2  # expanded uncertainty of the ratio, beyond which it tells nothing; own choice
# Half-width in steps of the converter: one g is few of them on a shock accelerometer, and steps
# differ from each other by up to one (common practice for converters without missing codes).
STEP_OFF = 1.0


def reading_m_s2(volts: FloatArray, scale: Accelerometer) -> FloatArray:
    """Reading of an accelerometer in m/s2; without a stated zero only its changes count.

    Raises
    ------
    ValueError
        If its sensitivity is not stated.
    """
    if not scale.volt_per_m_s2:
        raise ValueError("`volt_per_m_s2` is not stated")
    zero_v = scale.zero_v if scale.zero_v is not None else float(np.nanmedian(volts))
    return (volts - zero_v) / scale.volt_per_m_s2


def tell_witness(
    marks: Marks,
    trace: Trace,
    setup: DropSetup,
    volts: FloatArray,
    scale: Accelerometer | None,
    step_v: float = 0.0,
) -> Witness:
    """Compare an accelerometer with the force.

    Parameters
    ----------
    marks : Marks
        Marks of the force (of the sum of all legs).
    trace : Trace
        Its trace, for what is known of its calibration.
    setup : DropSetup
        Gives the mass.
    volts : ndarray of float64, shape (n_samples,)
        The accelerometer's channel at the times of the force; NaN where missing.
    scale : Accelerometer or None
        What is stated about it.
    step_v : float
        Volts of one step of the converter.
    """
    curve = marks.curve
    if scale is None or not scale.volt_per_m_s2:
        return Witness(text="the accelerometer's sensitivity is not stated: volts are kept")
    if curve is None or marks.onset_time_s is None or volts.size != curve.force_n.size:
        return Witness(text="no contact to compare with the accelerometer")
    rate = curve.sample_rate_hz
    if not np.isfinite(volts).any():
        return Witness(text="the accelerometer's samples are missing")
    felt = reading_m_s2(np.interp(np.arange(volts.size), *_there(volts)), scale)
    if marks.cfc:
        felt = cfc_filter(felt, rate, marks.cfc)
    return _compared(
        _at_rest(marks, setup, felt, scale, step_v),
        marks,
        trace,
        setup,
        np.isfinite(volts),
        felt,
        scale,
    )


def _compared(
    found: Witness,
    marks: Marks,
    trace: Trace,
    setup: DropSetup,
    there: npt.NDArray[np.bool_],
    felt: FloatArray,
    scale: Accelerometer,
) -> Witness:
    """The same, with the ratio over the first contact, where it was seen whole."""
    curve, rate = marks.curve, trace.sample_rate_hz
    assert curve is not None and marks.onset_time_s is not None
    if setup.mass_kg is None:
        return replace(found, text="no comparison with the force: the mass is not stated")
    last_s = marks.break_time_s or marks.slack_time_s
    if last_s is None or marks.gap_in_contact or marks.clipped:
        return replace(found, text="the contact was not seen whole: not compared")
    piece = slice(math.ceil(trace.place_of(marks.onset_time_s)), int(trace.place_of(last_s)))
    force_n, pulled = curve.sign * curve.force_n[piece], felt[piece]
    if force_n.size < LEAST_SAMPLES or not there[piece].all():
        return replace(found, text="samples of the contact are missing: not compared")
    found = replace(found, peak_m_s2=float(pulled.max()))
    if scale.range_m_s2 and np.abs(pulled).max() >= NEAR_RANGE * scale.range_m_s2:
        text = f"the accelerometer was at its range of {scale.range_m_s2:g} m/s2: not compared"
        return replace(found, text=text, findings=(Finding("accelerometer-range", text),))
    down = np.arange(force_n.size) < _turn(marks, felt, piece, rate)
    budget = _fitted(setup.mass_kg * pulled, force_n, down, marks, trace, setup, scale)
    return _judged(replace(found, budget=budget), budget)


def _there(volts: FloatArray) -> tuple[FloatArray, FloatArray]:
    at = np.flatnonzero(np.isfinite(volts))
    return at.astype(np.float64), volts[at]


def _turn(marks: Marks, felt: FloatArray, piece: slice, rate: float) -> int:
    """Sample of the contact at which the sled turns round: its speed by the accelerometer."""
    if marks.taut_speed_m_s is None:
        return int(marks.place_of(marks.peak_time_s or 0.0)) - int(piece.start)
    speed = marks.taut_speed_m_s + np.cumsum(G - felt[piece]) / rate
    up = np.flatnonzero(speed < 0.0)
    return int(up[0]) if up.size else speed.size


def _straight_line(
    inertia_n: FloatArray,
    force_n: FloatArray,
    down: npt.NDArray[np.bool_],
    band_hz: float,
    rate_hz: float,
) -> tuple[float, float, float]:
    """Slope r of m A = r F + c + d s + e F', its standard uncertainty and degrees of freedom.

    By least squares over all samples above a tenth of the peak. Filtered samples are not
    independent: they are worth twice the band times the length.
    """
    used = force_n >= LEAST_SHARE * force_n.max()
    size = int(used.sum())
    columns = [force_n[used], np.ones(size), np.gradient(force_n)[used]]
    way = np.where(down[used], 1.0, -1.0)
    columns += [way] if abs(way.mean()) < 1.0 else []
    matrix = np.column_stack(columns)
    solved, *_ = np.linalg.lstsq(matrix, inertia_n[used], rcond=None)
    left = inertia_n[used] - matrix @ solved
    worth = float(np.clip(2.0 * band_hz * size / rate_hz, len(columns) + 2, size))
    spread_n2 = float(np.sum(left**2)) / size * worth / (worth - len(columns))
    inverse = np.linalg.inv(matrix.T @ matrix)
    u = math.sqrt(spread_n2 * float(inverse[0, 0]) * size / worth)
    return float(solved[0]), u, worth - len(columns)


def _fitted(
    inertia_n: FloatArray,
    force_n: FloatArray,
    down: npt.NDArray[np.bool_],
    marks: Marks,
    trace: Trace,
    setup: DropSetup,
    scale: Accelerometer,
) -> Budget:
    """The ratio with its budget."""
    peak_n, rate = float(force_n.max()), trace.sample_rate_hz
    band_hz = MINUS_3_DB_PER_CLASS * marks.cfc if marks.cfc else 0.5 * rate
    ratio, fit_u, freedom = _straight_line(inertia_n, force_n, down, band_hz, rate)
    chain = Chain(
        trace.calibration_u_fraction,
        trace.calibration_u_n,
        trace.covered_n,
        trace.quantum_n,
        trace.bandwidth_hz,
        0.0,
        0.0,
    )
    fittings = (setup.fittings_kg or 0.0) / (setup.mass_kg or 1.0)
    parts = (
        Part("force", ratio * chain.force_u_fraction(peak_n), basis="calibration and beyond"),
        Part("mass", ratio * MASS_U_FRACTION, basis="0.5 %; common practice"),
        Part(
            "accelerometer",
            0.5 * ratio * scale.expanded_u_fraction,
            basis=f"{100 * scale.expanded_u_fraction:.2g} % (k = 2) as stated",
        ),
        Part("fit", fit_u, "A", freedom, "scatter about the straight line"),
        _bandwidth_part(ratio, marks, trace, scale),
        Part(
            "inertia of fittings",
            ratio * FITTINGS_FRACTION * fittings,
            basis="a tenth of their share of the mass; common practice",
        ),
    )
    return Budget("witness_ratio", "1", ratio, parts)


def _bandwidth_part(ratio: float, marks: Marks, trace: Trace, scale: Accelerometer) -> Part:
    """What the two amplifiers take off the same pulse, one more than the other."""
    length_s = marks.base_duration_s or marks.duration_s or 0.0
    losses = [
        one_pole_loss(hz, length_s) if hz and length_s else 0.0
        for hz in (trace.bandwidth_hz, scale.bandwidth_hz)
    ]
    return Part(
        "bandwidth",
        ratio * rectangular(losses[0] - losses[1]),
        basis="one pole each, where stated; a delay only makes a loop",
    )


def _at_rest(
    marks: Marks, setup: DropSetup, felt: FloatArray, scale: Accelerometer, step_v: float
) -> Witness:
    """Reading in free fall and at rest: 0 g and 1 g, but for friction."""
    curve = marks.curve
    assert curve is not None and marks.onset_time_s is not None
    rate, release_s = curve.sample_rate_hz, marks.release_time_s
    window = slack_window(
        curve.place_of(marks.onset_time_s),
        None if release_s is None else curve.place_of(release_s),
    )
    if window is None or release_s is None:
        return Witness()
    fall = felt[window]
    spread = K_FACTOR * float(np.std(fall)) / math.sqrt(max(fall.size * _worth(marks, rate), 1.0))
    friction_m_s2, friction_u = 0.0, FRICTION_U * G
    if marks.friction_n is not None and marks.friction_expanded_u_n is not None and setup.mass_kg:
        friction_m_s2 = marks.friction_n / setup.mass_kg
        friction_u = 0.5 * marks.friction_expanded_u_n / setup.mass_kg
    found = Witness(
        free_fall_m_s2=float(fall.mean()) if scale.zero_v is not None else None,
        free_fall_expanded_u_m_s2=spread if scale.zero_v is not None else None,
    )
    if marks.rest_force_n is None or marks.break_time_s is not None:
        return found
    rest = felt[-int(REST_S[1] * rate) :]
    assert scale.volt_per_m_s2
    parts = (
        float(np.std(rest)) / math.sqrt(max(rest.size * _worth(marks, rate), 1.0)),
        0.5 * spread,
        friction_u,
        rectangular(STEP_OFF * step_v / scale.volt_per_m_s2),
        0.5 * scale.expanded_u_fraction * G,
    )
    return replace(
        found,
        rest_m_s2=float(rest.mean() - fall.mean()) + friction_m_s2,
        rest_expanded_u_m_s2=K_FACTOR * math.hypot(*parts),
    )


def _worth(marks: Marks, rate: float) -> float:
    """Independent samples in one sample of the filtered reading."""
    return min(2.0 * MINUS_3_DB_PER_CLASS * marks.cfc / rate, 1.0) if marks.cfc else 1.0


def _judged(found: Witness, budget: Budget) -> Witness:
    """What the ratio says, in words."""
    ratio, spread = budget.value, budget.expanded_u
    found = replace(
        found,
        ratio=ratio,
        ratio_expanded_u=spread,
        coverage_factor=budget.coverage_factor,
    )
    words = f"mass x (a + g) is {ratio:.3f} +/- {spread:.3f} (k = 2) of the force"
    if spread > TELLS:
        text = f"{words}: too little is known of the accelerometer or the force to compare them"
        return replace(found, text=text, findings=(Finding("witness-tells-nothing", text),))
    if abs(ratio - 1.0) <= spread:
        text = f"{words}: accelerometer, gain and mass agree"
        return replace(found, says=AGREES, text=text, findings=(Finding("witness-agrees", text),))
    text = f"{words} over the first contact: {_suspects(found)}"
    told = (Finding("witness-disagrees", text),)
    return replace(found, says=DISAGREES, text=text, findings=told)


def _suspects(found: Witness) -> str:
    """What may be wrong: the accelerometer's reading at rest tells whether it is."""
    rest, spread = found.rest_m_s2, found.rest_expanded_u_m_s2
    if rest is None or spread is None:
        return "gain, mass or the accelerometer is wrong"
    seen = f"its step from free fall to rest is {rest:.2f} m/s2 +/- {spread:.2f} m/s2 (k = 2)"
    if abs(rest - G) > spread:
        return f"look at the accelerometer first, {seen} and not {G:.2f} m/s2"
    return (
        f"gain or mass is wrong, or the accelerometer by no more than can be seen at rest: {seen}"
    )
