"""Judge the load: which was reached, guard-banded against target and limit.

Decision rules after ILAC-G8:09/2019: what lies within the uncertainty is not claimed.
"""

from __future__ import annotations

from tautlog.analysis.completeness import CALLED_OFF
from tautlog.analysis.filters import MINUS_3_DB_PER_CLASS
from tautlog.analysis.open_peak import OpenPeak, open_peak
from tautlog.model.display_units import SI
from tautlog.model.limits import K_FACTOR
from tautlog.model.marks import Marks
from tautlog.model.shown import shown_force
from tautlog.model.trace import DropSetup
from tautlog.model.verdict import Reason

NO_LOAD = 2.0  # times m g: less is no pull, when so much more was wanted; common practice
EXPECTED_TIMES = 10.0  # times the force, that was wanted; common practice
NARROW_WINDOW = 0.02  # of the target, that can be proven: less is worth a word; common practice


def judge_load(marks: Marks, setup: DropSetup) -> tuple[str | None, Reason]:
    """Say which load was reached, and why; None where nobody gave a target."""
    if marks.has(CALLED_OFF) and (marks.peak_force_n is None or marks.lower_bound):
        return _called_off(marks)
    if marks.peak_force_n is None or marks.peak_force_expanded_u_n is None:
        return _without_peak(marks)
    force, spread = abs(marks.peak_force_n), marks.peak_force_expanded_u_n
    if marks.lower_bound:
        return _reached("at-least", f"at least {force:.0f} N: a lower bound only")
    target, upper = setup.target_n, setup.upper_n
    if _no_pull(force, target, setup.weight_n):
        text = f"{force:.0f} N is less than twice the weight: no pull of the line"
        return _reached("no-load", text)
    if _too_slow(marks):
        text = (
            f"at least {force:.0f} N: class {marks.cfc} passes less than the "
            f"{marks.bandwidth_needed_hz:.0f} Hz that a pulse this short needs; mark it with a "
            "higher class"
        )
        return _reached("at-least", text)
    if target is None or upper is None:
        return None, Reason("load-no-target", "no target force was given: the load is not judged")
    shown = shown_force(force, spread, (target, upper))
    words = (
        f"{shown.text}{shown.around} (k = {marks.peak_coverage_factor or K_FACTOR:.2g}) "
        f"against {shown.level(0)} to {shown.level(1)}{_window(target, upper, spread)}"
    )
    load, why = _against(force, spread, target, upper, words)
    return _opened(load, why, open_peak(marks), spread, (target, upper))


def judge_limit(marks: Marks, limit_n: float) -> tuple[str, Reason]:
    """Whether a force without a target stayed below its limit: "within" if so."""
    if marks.peak_force_n is None or marks.peak_force_expanded_u_n is None:
        return _without_peak(marks)
    force, spread = abs(marks.peak_force_n), marks.peak_force_expanded_u_n
    shown = shown_force(force, spread, (limit_n,))
    words = f"{shown.text}{shown.around} against a limit of {shown.level()}"
    if force - spread > limit_n:
        return _reached("overload", f"{words}: above the limit")
    if marks.lower_bound:
        return _reached("at-least", f"{words}: a lower bound only")
    if force + spread > limit_n:
        return _reached("possible-overload", f"{words}: an overload is not excluded")
    return _reached("within", f"{words}: below it")


def _reached(load: str, text: str) -> tuple[str, Reason]:
    return load, Reason(f"load-{load}", text)


def _called_off(marks: Marks) -> tuple[str | None, Reason]:
    """A drop that never was reached no load; what came all the same gives no bound of one."""
    why = marks.text_of(CALLED_OFF)
    came = "the signal lay at a limit" if marks.clipped else ""
    if marks.peak_force_n is not None:
        came = f"a force of {abs(marks.peak_force_n):.0f} N came"
    if came:
        text = f"{why}; but {came} while it was armed: whether anything fell is open, look"
        return None, Reason("load-called-off", text)
    return _reached("no-load", f"{why}: nothing fell")


def _without_peak(marks: Marks) -> tuple[str, Reason]:
    if marks.peak_force_n is None and marks.clipped:
        text = "the signal lay at a limit: the load reached is not known"
        return _reached("at-least", text)
    if marks.has("not-a-pull"):
        text = "nothing in the force looks like a pull: the load reached is not known"
        return _reached("at-least", text)
    if marks.lower_bound:
        text = "no contact was measured, and the record does not hold all that may have come"
        return _reached("at-least", text)
    return _reached("no-load", "no contact was measured")


def _no_pull(force_n: float, target_n: float | None, weight_n: float | None) -> bool:
    """Whether so little came, when so much was wanted, that the line did not pull."""
    if not weight_n or not target_n:
        return False
    return force_n < NO_LOAD * weight_n and target_n > EXPECTED_TIMES * force_n


def _against(
    force: float, spread: float, target: float, upper: float, words: str
) -> tuple[str, Reason]:
    """Hold a force and its expanded uncertainty against target and limit."""
    if force - spread > upper:
        return _reached("overload", f"{words}: above the limit")
    if force + spread < target:
        return _reached("under", f"{words}: below the target")
    if force - spread < target:
        text = f"{words}: the target lies within the uncertainty; aim for {target + spread:.0f} N"
        return _reached("unproven", text)
    if force + spread > upper:
        text = f"{words}: the target is proven, an overload is not excluded"
        return _reached("possible-overload", text)
    return _reached("on-target", f"{words}: proven within both")


def _opened(
    load: str, why: Reason, peak: OpenPeak, spread: float, levels: tuple[float, float]
) -> tuple[str, Reason]:
    """The load, where ring or amplifier leave the peak open: what they move is not claimed."""
    target, upper = levels
    least, most = (
        _against(force, spread, target, upper, "")[0] for force in (peak.least_n, peak.most_n)
    )
    if least == most == load:
        return load, why
    text = f"{why.text}; but {peak.why}"
    if peak.least_n - spread < target:
        return _reached("unproven", f"{text}: the target is not proven by it")
    if peak.most_n + spread > upper:
        return _reached("possible-overload", f"{text}: an overload is not excluded, nor proven")
    return load, why


def open_across(marks: Marks, setup: DropSetup) -> OpenPeak | None:
    """The peak, where ring or amplifier let it have missed the target and passed the limit."""
    target, upper = setup.target_n, setup.upper_n
    if target is None or upper is None or marks.peak_force_n is None or marks.lower_bound:
        return None
    peak = open_peak(marks)
    return peak if peak.least_n < target and peak.most_n > upper else None


def _too_slow(marks: Marks) -> bool:
    """Whether the class passes less than 3 / T (common practice); a break ends T early."""
    needed = marks.bandwidth_needed_hz
    if marks.cfc is None or needed is None or marks.break_time_s is not None:
        return False
    return MINUS_3_DB_PER_CLASS * marks.cfc < needed


def _window(target: float, upper: float, spread: float) -> str:
    """Say what can be proven at all within target and limit, where that is little."""
    low, high = target + spread, upper - spread
    if high < low:
        return (
            "; with this uncertainty no force can be proven to lie within both: lower it, or "
            "widen the band"
        )
    if high - low < NARROW_WINDOW * target:
        return f"; only {SI.inner_band(low, high, 'N')} can be proven to lie within both"
    return ""


def carried_target(marks: Marks, setup: DropSetup) -> bool:
    """Whether the load at first damage is proven above the target."""
    damage, spread = marks.first_damage_force_n, marks.peak_force_expanded_u_n
    peak = marks.peak_force_n
    if damage is None or spread is None or not peak or setup.target_n is None:
        return False
    return abs(damage) * (1.0 - spread / abs(peak)) >= setup.target_n
