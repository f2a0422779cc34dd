"""Judge the trace: what it alone shows of the load path, in doubt nothing."""

from __future__ import annotations

from tautlog.analysis.forerunner import FORERUNNER
from tautlog.analysis.silence import FALLING, PARTED, SILENT
from tautlog.model.limits import CLOSURE_SUSPECT, HANGING_LEAST_N, LEAST_FLIGHT_S
from tautlog.model.marks import Marks
from tautlog.model.trace import DropSetup
from tautlog.model.verdict import Reason

# Common practice, no source; shares of m g at rest.
REST_TOLERANCE = 0.03  # that a hanging sled may be off
REST_MOST_OFF = 0.6  # less than it may be a sled that rests on something
REST_NOTHING = 0.2  # less than this hangs from the line no more
SLIP_CLOSURE = 0.05  # of one: else a wrong force looks like a slip; common practice
SANK = 1.5  # times its expanded uncertainty, which knows little of friction: own simulation

Said = tuple[str, Reason]


def judge_trace(marks: Marks, setup: DropSetup) -> Said:
    """Say whether the load path held, let go or slipped, or that it is unclear; and why."""
    said, why = _by_all(marks, setup)
    if said not in ("held", "unclear"):
        return said, why
    against = _against_held(marks, setup)
    joint = "but" if said == "held" else "and"
    return _said("unclear", f"{why.text}; {joint} {against}") if against else (said, why)


def _against_held(marks: Marks, setup: DropSetup) -> str:
    """What does not go with a load path that held, in words; or ""."""
    rest_n, weight_n = marks.rest_force_n, setup.weight_n
    hangs = rest_n is not None and weight_n is not None and rest_n > REST_MOST_OFF * weight_n
    if marks.has(FORERUNNER):
        return marks.text_of(FORERUNNER)
    if marks.has(SILENT) and not hangs:
        return marks.text_of(SILENT)
    if marks.first_damage_time_s is not None:
        return (
            f"the force fell at {marks.first_damage_time_s:.4f} s from "
            f"{abs(marks.first_damage_force_n or 0.0):.0f} N, before its peak: one of several "
            "legs, stitches, a knot, or a slip"
        )
    return ""


def _by_all(marks: Marks, setup: DropSetup) -> Said:
    """What pulls, rest and a break say, the surest first."""
    if marks.has("leg-let-go"):
        return _said("let-go", marks.text_of("leg-let-go"))
    if marks.has("leg-order-unclear"):
        return _said("let-go", marks.text_of("leg-order-unclear"))
    rest_n, weight_n = marks.rest_force_n, setup.weight_n
    if rest_n is not None and marks.has("reversed"):
        rest_n = -rest_n
    if marks.break_time_s is not None:
        return _after_break(marks, rest_n, weight_n)
    if marks.has(PARTED):
        return _said("let-go", marks.text_of(PARTED))
    if marks.peak_force_n is None:
        return _said("unclear", "there was no contact")
    if setup.end_state == "rests":
        rest_n = None  # what lies on the catch tells nothing of the line
    pulls_say = _by_pulls(marks, rest_n, weight_n)
    if pulls_say is not None:
        return pulls_say
    if rest_n is None or weight_n is None:
        lacking = "rest force" if rest_n is None else "mass"
        return _said("unclear", f"no {lacking}: the trace alone does not tell")
    return _by_rest(marks, rest_n, weight_n)


def _said(what: str, text: str) -> Said:
    return what, Reason(f"trace-{what}", text)


def _after_break(marks: Marks, rest_n: float | None, weight_n: float | None) -> Said:
    share = rest_n / weight_n if rest_n is not None and weight_n else 0.0
    if REST_MOST_OFF < share < 2.0 - REST_MOST_OFF or marks.has("held-after"):
        text = (
            "the force collapsed and yet the load path held after it: one of several legs, or "
            "a slip that held again"
        )
        return _said("unclear", text)
    return _said("let-go", f"the load path let go at {abs(marks.break_force_n or 0.0):.0f} N")


def _by_pulls(marks: Marks, rest_n: float | None, weight_n: float | None) -> Said | None:
    """What the pulls say that a rest does not mend, or where there is none."""
    slipped = marks.has("slip")
    if rest_n is None and slipped and marks.impulse_closure is not None:
        return _slipped(marks)
    hangs = rest_n is None or not _nothing_hangs(marks, rest_n, weight_n)
    if marks.has("slip-not-excluded") and hangs:
        return _said("unclear", marks.text_of("slip-not-excluded"))
    if marks.has("disagree-first-pull") and not slipped and _sank(marks):
        text = (
            "all agrees except the first pull, and the sled ended it lower: a slip, or a stop that "
            "took a part of it"
        )
        return _said("unclear", text)
    if rest_n is None and _thrown_back(marks):
        text = (
            f"the sled was thrown back and caught {marks.bounces} times, and its momentum is "
            "accounted for; the record ends before it hangs still"
        )
        return _said("held", text)
    return None


def _by_rest(marks: Marks, rest_n: float, weight_n: float) -> Said:
    """What the force says with which all came to rest."""
    slipped = marks.has("slip")
    if marks.has("flat-top"):
        text = "the top is flat: clipped, or something yielded"
        return _slipped(marks) if slipped else _said("unclear", text)
    if marks.has("two-peaks") and marks.impulse_closure is None:
        text = "two peaks in one contact, and no impulse check that would explain them"
        return _said("unclear", text)
    hangs = f"the sled hangs: {rest_n:.1f} N, m g is {weight_n:.1f} N"
    if abs(rest_n - weight_n) <= rest_tolerance_n(marks, weight_n):
        if slipped:
            return _slipped(marks)
        doubt = _doubt_of_drop(marks)
        return _said("unclear", f"{hangs}; but {doubt}") if doubt else _said("held", hangs)
    about = REST_MOST_OFF * weight_n < rest_n < (2.0 - REST_MOST_OFF) * weight_n
    if about and _thrown_back(marks):
        text = hangs + ", after it was thrown back and caught"
        return _slipped(marks) if slipped else _said("held", text)
    if _nothing_hangs(marks, rest_n, weight_n):
        return _nothing_pulls(marks, rest_n)
    text = f"{rest_n:.1f} N at rest is neither m g = {weight_n:.1f} N nor nothing"
    return _said("unclear", text)


def _nothing_pulls(marks: Marks, rest_n: float) -> Said:
    """No force at rest: a break that the first pull shows, or a sled that was caught."""
    if marks.has(FALLING):
        return _said("let-go", f"{marks.text_of(FALLING)}; {rest_n:.1f} N at rest")
    text = (
        f"nothing pulls at rest, {rest_n:.1f} N, and the first pull shows no break: the load path "
        "may have parted after it, or the sled was caught and hangs anywhere above"
    )
    return _said("unclear", text)


def rest_tolerance_n(marks: Marks, weight_n: float) -> float:
    """How far a hanging sled may be off: 3 %, 3 N, or what friction and zero allow."""
    spread = (marks.rest_closure_expanded_u or 0.0) * weight_n
    return max(REST_TOLERANCE * weight_n, HANGING_LEAST_N, spread)


def _sank(marks: Marks) -> bool:
    """Whether the sled was lower when the line went slack than when it came taut."""
    sunk_m, spread_m = marks.displacement_closure_m, marks.displacement_closure_expanded_u_m
    return sunk_m is not None and spread_m is not None and sunk_m > SANK * spread_m


def _nothing_hangs(marks: Marks, rest_n: float, weight_n: float | None) -> bool:
    return weight_n is not None and abs(rest_n) < REST_NOTHING * weight_n and not marks.bounces


def _thrown_back(marks: Marks) -> bool:
    """Whether a rebound shows that the line still held after its first pull."""
    closure = marks.impulse_closure
    if closure is None or not marks.bounce_list or marks.has("flat-top"):
        return False
    flight_s = marks.bounce_list[0].flight_s
    return abs(closure - 1.0) <= CLOSURE_SUSPECT and flight_s > LEAST_FLIGHT_S


def _doubt_of_drop(marks: Marks) -> str:
    """Why it is open whether the sled fell at all: hands and a hoist pull a line, too; or ""."""
    if marks.bounces:
        return ""
    if marks.has("impulse-impossible"):
        return "no fall gives this pull, and there was no rebound: it is open whether it was a drop"
    if marks.release_time_s is None:
        return "no release is marked, and there was no rebound: it is open whether it was a drop"
    return ""


def _slipped(marks: Marks) -> Said:
    closure, spread = marks.impulse_closure, marks.impulse_closure_expanded_u or 0.0
    whole = closure is not None and abs(closure - 1.0) <= min(SLIP_CLOSURE, spread)
    if whole and not (marks.has("disagree-height") or marks.has("height-off")):
        what = "something yielded" if marks.has("flat-top") else "the line slipped, or part yielded"
        return _said("slipped", f"{what}: the sled ends lower, impulse is whole")
    return _said("unclear", "a slip, or a force or mass that is wrong")
