"""Judge the record: whether the test is valid, and its record holds what it should.

There is a function for each condition. They are told in the order of `CONDITIONS`, the gravest
first; add one by adding it there.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from tautlog.analysis.completeness import MISSING
from tautlog.analysis.confirmation import doubt_of_loss
from tautlog.analysis.judge_load import open_across
from tautlog.analysis.judge_trace import rest_tolerance_n
from tautlog.model.contradiction import SEVERITIES
from tautlog.model.limits import CLOSURE_SUSPECT, SHUNT_INVALID, SHUNT_SUSPECT
from tautlog.model.marks import IN_FLIGHT, IN_THE_FALL, UNSEEN, Marks
from tautlog.model.trace import DropSetup
from tautlog.model.verdict import RECORD_VERDICTS

# Limits of validity: common practice, no source.
CLOSURE_INVALID = 0.10  # of the impulse off what momentum asks for
ZERO_NOTE, ZERO_INVALID = 0.005, 0.02  # of the target: zero that moved before or after the pull

NOTE, SUSPECT, INVALID = range(3)  # places in `RECORD_VERDICTS`


@dataclass(frozen=True)
class Judged:
    """What a condition says: NOTE, SUSPECT or INVALID, a short code, and plain words."""

    severity: int
    code: str
    text: str


Condition = Callable[[Marks, DropSetup], Judged | None]


def judge_record(marks: Marks, setup: DropSetup) -> list[Judged]:
    """Ask every condition; the gravest is told first."""
    told = (condition(marks, setup) for condition in CONDITIONS)
    found = [judged for judged in told if judged is not None]
    return sorted(found, key=lambda judged: -judged.severity)


def _found(marks: Marks, severity: int, code: str) -> Judged | None:
    """A finding of marking, in its own words."""
    return Judged(severity, code, marks.text_of(code)) if marks.has(code) else None


def _samples(marks: Marks, setup: DropSetup) -> Judged | None:
    if marks.has("no-samples"):
        return Judged(INVALID, "no-samples", "the record holds no samples to judge")
    return None


def _pull(marks: Marks, setup: DropSetup) -> Judged | None:
    return _found(marks, INVALID, "not-a-pull")


def _sealed(marks: Marks, setup: DropSetup) -> Judged | None:
    if setup.not_sealed is None:
        return None
    text = f"{setup.not_sealed}: not what was sealed; look for another copy of the record"
    return Judged(INVALID, "not-sealed", text)


def _gap(marks: Marks, setup: DropSetup) -> Judged | None:
    if marks.gap_in_contact:
        text = "samples are missing in the contact: its peak is a lower bound"
        return Judged(INVALID, "gap-in-contact", text)
    if marks.missing_samples:
        text = f"{marks.missing_samples} samples are missing, none of them near the contact"
        return Judged(NOTE, "gap", text)
    return None


def _complete(marks: Marks, setup: DropSetup) -> Judged | None:
    """A record that was cut short is no whole test, whatever it holds."""
    if marks.has("starts-late"):
        text = "the record begins in the pull: zero and onset are missing"
        return Judged(INVALID, "starts-late", text)
    place = marks.record_ends
    why = marks.text_of("cut-short")
    if place in UNSEEN:
        text = why or f"the record ends too early; what is missing: {MISSING[place]}"
        return Judged(INVALID, "cut-short", text)
    if why:
        return Judged(SUSPECT, "cut-short", why)
    if place in (IN_THE_FALL, IN_FLIGHT):
        text = f"the record ends soon; what is missing: {MISSING[place]}"
        return Judged(SUSPECT, "cut-short", text)
    return None


def _further_pull(marks: Marks, setup: DropSetup) -> Judged | None:
    """A second load of the article: nobody knows which of them was meant."""
    return _found(marks, SUSPECT, "further-pull")


def _excerpt(marks: Marks, setup: DropSetup) -> Judged | None:
    """A long record of which a stretch was judged: what the rest holds must not differ."""
    return _found(marks, SUSPECT, "beyond-excerpt") or _found(marks, NOTE, "excerpt")


def _contradicted(marks: Marks, setup: DropSetup) -> Judged | None:
    """What the board told cannot all be true; the gravest comes first."""
    found = next((finding for finding in marks.findings if finding.code in SEVERITIES), None)
    if found is None:
        return None
    return Judged(RECORD_VERDICTS.index(SEVERITIES[found.code]), found.code, found.text)


def _clipped(marks: Marks, setup: DropSetup) -> Judged | None:
    at_rail = marks.text_of("clipped")
    if at_rail:
        return Judged(INVALID, "clipped", at_rail + ": its reading there is not a force")
    if not marks.clipped:
        return _found(marks, SUSPECT, "clip-not-excluded")
    readings = {
        "plateau-whole": "no rail, something yielded, slipped or held; its peak is a lower bound",
        "plateau-cut": "cut off by a rail, its impulse is lacking; its peak is a lower bound",
    }
    text = next(
        (words for code, words in readings.items() if marks.has(code)),
        "cut off by a rail, or something yielded; its peak is a lower bound",
    )
    return Judged(SUSPECT, "clipped", f"the top of the force is flat: {text}")


def _reversed(marks: Marks, setup: DropSetup) -> Judged | None:
    if not marks.has("reversed"):
        return None
    text = (
        "the force is negative: swap the cell's signal wires, or import with --invert; the "
        "raw data can be marked again with the right sign"
    )
    return Judged(INVALID, "reversed", text)


def _impulse(marks: Marks, setup: DropSetup) -> Judged | None:
    closure = marks.impulse_closure
    if closure is None:
        return _impulse_alone(marks, setup)
    off = abs(closure - 1.0)
    spread = marks.impulse_closure_expanded_u or 0.0
    if marks.has("disagree-first-pull") and 1.0 - closure > max(CLOSURE_SUSPECT, spread):
        text = (
            f"the line took only {closure:.3f} of the momentum, and all later pulls agree: a stop "
            "or the catch took the rest"
        )
        return Judged(INVALID, "stop-touched", text)
    text = (
        f"the impulse is {closure:.3f} +/- {spread:.3f} (k = 2) of what mass, height and rebound "
        "ask for: gain, mass, height, a touched stop or lost samples would show like this"
    )
    if off > CLOSURE_INVALID:
        return Judged(INVALID, "closure-wrong", text)
    if off > CLOSURE_SUSPECT:
        return Judged(SUSPECT, "closure-off", text)
    # The calibration's own uncertainty is in it. Below 1 friction may have taken the rest, which
    # is one-sided: of good simulated drops one in ten lies below its interval, none above.
    if spread and closure - 1.0 > spread:
        text += "; its uncertainty, calibration and all, excludes 1"
        return Judged(SUSPECT, "force-scale", text)
    text = f"the impulse is {closure:.3f} +/- {spread:.3f} (k = 2) of that expected from momentum"
    return Judged(NOTE, "closure-good", text)


def _impulse_alone(marks: Marks, setup: DropSetup) -> Judged:
    """What momentum says where no rebound closes the balance."""
    text = "no impulse check: it needs mass, height and a rebound"
    if marks.rest_closure is None and setup.mass_kg is None:
        text = (
            "neither impulse nor rest could be checked, for nobody stated a mass: whether the gain "
            "is right, nothing in the record tells"
        )
    return (
        _found(marks, INVALID, "impulse-impossible")
        or _found(marks, SUSPECT, "impulse-too-large")
        or _found(marks, SUSPECT, "impulse-too-small")
        or Judged(NOTE, "closure-unknown", text)
    )


def _bandwidth(marks: Marks, setup: DropSetup) -> Judged | None:
    return _found(marks, SUSPECT, "bandwidth-low")


def _droop(marks: Marks, setup: DropSetup) -> Judged | None:
    """The class is that of the whole chain; its digital filter alone does not make it."""
    return _found(marks, SUSPECT, "filter-droops")


def _folding(marks: Marks, setup: DropSetup) -> Judged | None:
    return _found(marks, SUSPECT, "filter-folds") or _found(marks, NOTE, "filter-unknown")


def _height(marks: Marks, setup: DropSetup) -> Judged | None:
    return _found(marks, SUSPECT, "height-off")


def _odd_begin(marks: Marks, setup: DropSetup) -> Judged | None:
    return _found(marks, SUSPECT, "baseline-step") or _found(marks, SUSPECT, "pulls-above-taut")


def _open_load(marks: Marks, setup: DropSetup) -> Judged | None:
    """A load that may have missed the target as well as passed the limit proves nothing."""
    peak = open_across(marks, setup)
    if peak is None:
        return None
    text = f"{peak.why}: target missed, met or limit passed, the trace does not tell"
    return Judged(SUSPECT, "peak-open", text)


def _burst(marks: Marks, setup: DropSetup) -> Judged | None:
    if marks.has("held-after") and not marks.has("burst"):
        text = "the force collapsed and the sled was caught all the same: what was the peak?"
        return Judged(SUSPECT, "collapse", text)
    return _found(marks, SUSPECT, "burst")


def _loss(marks: Marks, setup: DropSetup) -> Judged | None:
    """A loss of load that nothing else tells, or that inspection denies."""
    doubt = doubt_of_loss(marks, setup)
    return None if doubt is None else Judged(SUSPECT, *doubt)


def _rest(marks: Marks, setup: DropSetup) -> Judged | None:
    closure, weight_n = marks.rest_closure, setup.weight_n
    if closure is None or weight_n is None or marks.break_time_s is not None:
        return None  # after a break nothing is left to hang
    if setup.end_state == "rests":
        return None  # it shall end on the catch
    if abs(closure - 1.0) * weight_n <= rest_tolerance_n(marks, weight_n):
        return None
    kept = closure * (setup.mass_kg or 0.0)
    text = (
        f"the rest force says {kept:.2f} kg, {setup.mass_kg:g} kg was entered: it parted, rests on "
        "something, or gain or mass is wrong"
    )
    return Judged(SUSPECT, "rest-off", text)


def _drift(marks: Marks, setup: DropSetup) -> Judged | None:
    if marks.zero_drift_n is None or not setup.target_n:
        return None
    share = abs(marks.zero_drift_n) / setup.target_n
    text = f"the zero before the release differs by {marks.zero_drift_n:.1f} N from the slack one"
    if share > ZERO_INVALID:
        return Judged(INVALID, "zero-shift", text + ": check the cell again")
    if share > ZERO_NOTE:
        return Judged(NOTE, "zero-drift", text)
    return None


def _shift(marks: Marks, setup: DropSetup) -> Judged | None:
    scale_n = setup.target_n or abs(marks.peak_force_n or 0.0)
    if marks.zero_shift_n is None or not scale_n:
        return None
    share = abs(marks.zero_shift_n) / scale_n
    text = f"the zero after the pull differs by {marks.zero_shift_n:.1f} N from that before"
    if share > ZERO_INVALID:
        text += ": an overloaded cell, or an amplifier that recovers"
        return Judged(INVALID, "cell-overloaded", text)
    if share > ZERO_NOTE:
        return Judged(NOTE, "zero-return", text)
    return None


def _mount(marks: Marks, setup: DropSetup) -> Judged | None:
    if marks.has("mount-moved"):
        text = "the mount's break wire opened, and not after the article's: no test of the article"
        return Judged(INVALID, "mount-moved", text)
    return None


def _cable(marks: Marks, setup: DropSetup) -> Judged | None:
    if not marks.has("cable-lost"):
        return None
    text = f"{marks.text_of('cable-lost')}; it says nothing of the article"
    return Judged(INVALID if marks.gap_in_contact else NOTE, "cable-lost", text)


def _shunt(marks: Marks, setup: DropSetup) -> Judged | None:
    if setup.shunt_off is None:
        return None
    off = abs(setup.shunt_off)
    text = f"the shunt's step changed by {100 * setup.shunt_off:+z.1f} % over the drop"
    if off > SHUNT_INVALID:
        return Judged(INVALID, "shunt-off", text + ": the chain has changed")
    if off > SHUNT_SUSPECT:
        return Judged(SUSPECT, "shunt-off", text)
    return Judged(NOTE, "shunt-good", text)


def _expired(marks: Marks, setup: DropSetup) -> Judged | None:
    if not marks.has("calibration-expired"):
        return None
    text = (
        "the calibration was out of date on that day: no qualification, engineering information "
        "until the chain has been checked again"
    )
    return Judged(INVALID, "calibration-expired", text)


def _duration(marks: Marks, setup: DropSetup) -> Judged | None:
    low_s, high_s = setup.shortest_s, setup.longest_s
    if marks.duration_s is None or (low_s is None and high_s is None):
        return None
    if (low_s or 0.0) <= marks.duration_s <= (math.inf if high_s is None else high_s):
        return None
    wanted = f"{1000 * (low_s or 0.0):g} ms to " + (
        "any length" if high_s is None else f"{1000 * high_s:g} ms"
    )
    text = f"the pulse lasted {1000 * marks.duration_s:.1f} ms, required is {wanted}"
    return Judged(SUSPECT, "duration-off", text)


def _release(marks: Marks, setup: DropSetup) -> Judged | None:
    if marks.release_time_s is None:
        return Judged(NOTE, "release-unknown", "no release is marked: fall time is not available")
    doubt = marks.text_of("release-doubt")
    if doubt:
        text = f"{doubt}; no fall time, and no friction or delay of the latch from it"
        return Judged(NOTE, "release-doubt", text)
    return None


# What the other channels say, see `legs`, `witness` and `excitation`.
_OF_CHANNELS = {
    "leg-uncalibrated": INVALID,
    "leg-unknown": INVALID,
    "witness-disagrees": SUSPECT,
    "excitation-off": SUSPECT,
    "excitation-drift": SUSPECT,
    "excitation-sag": SUSPECT,
    "witness-agrees": NOTE,
}


def _channels(marks: Marks, setup: DropSetup) -> Judged | None:
    """The gravest of what legs, accelerometer and supply say; the others stay findings."""
    there = [code for code in _OF_CHANNELS if marks.has(code)]
    return _found(marks, _OF_CHANNELS[there[0]], there[0]) if there else None


CONDITIONS: tuple[Condition, ...] = (
    _channels,
    _samples,
    _sealed,
    _pull,
    _gap,
    _complete,
    _excerpt,
    _further_pull,
    _contradicted,
    _clipped,
    _reversed,
    _impulse,
    _bandwidth,
    _droop,
    _folding,
    _height,
    _odd_begin,
    _open_load,
    _burst,
    _loss,
    _rest,
    _drift,
    _shift,
    _mount,
    _cable,
    _shunt,
    _expired,
    _duration,
    _release,
)
