"""Learning: what the drops of one line show about the line and the next drop.

Only valid drops whose load path held count: a stiffness fitted to an invalid drop is worse than
none. Fall times from several heights separate friction from the latch's delay; a single drop
cannot.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from tautlog.archive.kept_marks import KeptMarks
from tautlog.errors import PlanError
from tautlog.model import quantities as q
from tautlog.model.limits import GO_ON_WITHIN, K_FACTOR, ONSET_U_S
from tautlog.model.line import BEDDED_AFTER, Line
from tautlog.model.shown import shown
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.model.uncertainty import COVERAGE, student_t
from tautlog.planning.planned_drop import PlannedDrop
from tautlog.planning.prediction import predict_drop
from tautlog.planning.trend import trend_of

# Least uncertainty of a line's mean stiffness, as its traces show it: own simulation
# (tests/planning/test_learning.py). Of the next peak `trend` tells more.
LEAST_STIFFNESS_U = 0.03
LEAST_PEAK_U = 0.01
LEAST_HEIGHTS_APART = 1.3  # ratio of two heights that separates delay from friction


# Ranges of a lesson's figures; a fitted figure may lie a little below 0.
_PLAUSIBLE = {
    "mass_kg": q.MASS,
    "height_m": q.HEIGHT,
    "peak_force_n": q.LOAD,
    "line_stiffness_n_per_m": q.STIFFNESS,
    "hardening_per_m2": replace(q.HARDENING, either_sign=True),
    "damping_ratio": replace(q.DAMPING, either_sign=True),
    "friction_n": replace(q.FRICTION, either_sign=True),
    "fall_time_s": replace(q.PULSE, zero=True),
}
MOST_TAKEN = 0.5  # of the weight: more friction than that no marks were reckoned with


@dataclass(frozen=True)
class Lesson:
    """What can be learned from one record.

    Attributes
    ----------
    name : str
        Name of the record.
    mass_kg, height_m : float
        Mass and height of the drop.
    peak_n, stiffness_n_per_m, hardening_per_m2, damping_ratio : float
        Figures from its marks.
    friction_n, fall_time_s : float or None
        Figures from its marks; None if not known.
    number : int
        Earlier drops of this line.
    taken_n : float or None
        Friction that its stiffness and damping were reckoned with; the rest of it is in them.
        None if its marks do not say.
    """

    name: str
    mass_kg: float
    height_m: float
    peak_n: float
    stiffness_n_per_m: float
    hardening_per_m2: float
    damping_ratio: float
    friction_n: float | None
    fall_time_s: float | None
    number: int
    taken_n: float | None = None


@dataclass(frozen=True)
class Learned:
    """What is known of a line after some drops.

    Attributes
    ----------
    line : Line
        The line, with the stiffness from its latest drops and its uncertainty.
    friction_n, delay_s : float or None
        Friction of the rails and delay of the latch, from fall times at several heights; friction
        else from single drops.
    lessons : tuple of Lesson
        The drops that count.
    ratios : tuple of float
        Measured over predicted peak of each drop, predicted with the constants of the line, without
        its trend: what is odd must not hide in it.
    spread : float
        Standard deviation of those ratios, at least 1 %.
    refused : tuple of (str, str)
        Records that do not count, and why.
    unreadable : tuple of str
        Those of them that cannot be read or differ from what was sealed.
    """

    line: Line
    friction_n: float | None
    delay_s: float | None
    lessons: tuple[Lesson, ...]
    ratios: tuple[float, ...]
    spread: float
    refused: tuple[tuple[str, str], ...]
    unreadable: tuple[str, ...] = ()

    @property
    def n(self) -> int:
        """Number of drops in the mean stiffness of the line."""
        return len(_bedded(list(self.lessons)))


def lesson_of(
    name: str,
    mass_kg: float | None,
    height_m: float | None,
    marks: KeptMarks | None,
    number: int,
) -> Lesson | str:
    """The lesson of a record, or why there is none.

    Parameters
    ----------
    name : str
        Name of the record.
    mass_kg, height_m : float or None
        From its set-up.
    marks : KeptMarks or None
        Its newest marks; None without marks.
    number : int
        Earlier drops of this line.
    """
    if marks is None:
        return "not marked yet"
    if why := _useless(marks):
        return why
    if not mass_kg or not height_m:
        return "no mass or height"
    figures = {
        "mass_kg": mass_kg,
        "height_m": height_m,
        **{key: getattr(marks, key) or 0.0 for key in _PLAUSIBLE if hasattr(marks, key)},
    }
    for key, value in figures.items():
        if problem := _PLAUSIBLE[key].problem(value):
            return f"{key} = {value!r}: {problem}"
    return Lesson(
        name=name,
        mass_kg=mass_kg,
        height_m=height_m,
        peak_n=figures["peak_force_n"],
        stiffness_n_per_m=figures["line_stiffness_n_per_m"],
        hardening_per_m2=figures["hardening_per_m2"],
        damping_ratio=figures["damping_ratio"],
        friction_n=figures["friction_n"] if marks.friction_n is not None else None,
        fall_time_s=figures["fall_time_s"] if marks.fall_time_s is not None else None,
        number=number,
        taken_n=_taken_n(mass_kg, height_m, marks.taut_speed_m_s),
    )


def _taken_n(mass_kg: float, height_m: float, taut_speed_m_s: float | None) -> float | None:
    """Friction that a speed was reckoned with, v^2 = 2 h (g - f / m); None if there is none."""
    if taut_speed_m_s is None:
        return None
    fraction = 1.0 - taut_speed_m_s**2 / (2.0 * G * height_m)
    return max(fraction, 0.0) * mass_kg * G if -1e-6 <= fraction <= MOST_TAKEN else None


def _useless(marks: KeptMarks) -> str:
    """Why marks teach nothing, or ""."""
    if marks.record_verdict != "valid":
        return f"record {marks.record_verdict}"
    if marks.trace_says != "held":
        return f"load path {marks.trace_says}"
    if marks.odd:
        return f"{marks.odd[0]} is not a number"
    if not marks.line_stiffness_n_per_m or not marks.peak_force_n:
        return "it gave no stiffness"
    if marks.clipped or marks.gap_in_contact:
        return "its peak is a lower bound"
    return ""


def learn(
    name: str,
    lessons: list[Lesson],
    refused: list[tuple[str, str]],
    drops: int,
    friction_n: float | None = None,
) -> Learned:
    """Learn from the drops of one line, oldest first.

    Parameters
    ----------
    name : str
        Name of the line.
    lessons, refused : list
        From `lesson_of`.
    drops : int
        All drops that the line has seen, including these.
    friction_n : float or None
        Friction of the rails that is stated, and that predictions use; None for what the drops
        show of it.

    Raises
    ------
    PlanError
        If no drop counts.
    """
    line = learn_line_alone(name, lessons, refused, drops, friction_n)
    same = _bedded(lessons)
    friction, delay = _friction_and_delay(lessons)
    with_n = _with_constants_n(lessons)
    ratios = tuple(
        lesson.peak_n
        / predict_drop(
            PlannedDrop(lesson.mass_kg, lesson.height_m, line.without_trend(), with_n)
        ).peak_force_n
        for lesson in lessons
    )
    recent = ratios[-len(same) :]
    spread = float(np.std(recent, ddof=1)) if recent[1:] else 0.0
    return Learned(
        line, friction, delay, tuple(lessons), ratios, max(spread, LEAST_PEAK_U), tuple(refused)
    )


def learn_line_alone(
    name: str,
    lessons: list[Lesson],
    refused: list[tuple[str, str]],
    drops: int,
    friction_n: float | None = None,
) -> Line:
    """The line of `learn`, without a prediction for every drop."""
    if not lessons:
        why = "; ".join(f"{record}: {reason}" for record, reason in refused[:5])
        raise PlanError(
            f"nothing to learn about line {name!r}: no valid drop that held"
            + (f" ({why})" if why else "")
        )
    same = _bedded(lessons)
    stiffness = float(np.mean([lesson.stiffness_n_per_m for lesson in same]))
    scatter = (
        float(np.std([lesson.stiffness_n_per_m for lesson in same], ddof=1)) if same[1:] else 0.0
    )
    # The scatter of few drops is itself uncertain: Student's t, which is 2 for many drops, over
    # the factor 2 that is applied later (JCGM 100:2008, G.3).
    wider = student_t(COVERAGE, len(same) - 1) / K_FACTOR if same[1:] else 1.0
    u = max(wider * scatter / stiffness / math.sqrt(len(same)), LEAST_STIFFNESS_U)
    line = Line(
        name=name,
        stiffness_n_per_m=stiffness,
        hardening_per_m2=max(float(np.mean([lesson.hardening_per_m2 for lesson in same])), 0.0),
        damping_ratio=min(max(float(np.mean([lesson.damping_ratio for lesson in same])), 0.0), 0.9),
        stiffness_u_fraction=u,
        drops=drops,
        source=f"{len(same)} of {len(lessons) + len(refused)} records",
    )
    # The trend may have all of the friction: whatever is in the constants too is in its level.
    rails_n = _friction_and_delay(lessons)[0] if friction_n is None else friction_n
    return replace(line, trend=trend_of(tuple(same), line, rails_n))


def _bedded(lessons: list[Lesson]) -> list[Lesson]:
    """Drops of the bedded line, which behaves unlike a new line; else the last drop."""
    return [lesson for lesson in lessons if lesson.number >= BEDDED_AFTER] or lessons[-1:]


def _with_constants_n(lessons: list[Lesson]) -> float | None:
    """Friction that goes with the line's constants: what they were reckoned with.

    The rest of the friction is in the damping already; with all of it the line would be taken for
    slower twice. Where marks do not say, the friction that the drops show.
    """
    taken = [lesson.taken_n for lesson in _bedded(lessons) if lesson.taken_n is not None]
    return float(np.mean(taken)) if taken else _friction_and_delay(lessons)[0]


def _friction_and_delay(lessons: list[Lesson]) -> tuple[float | None, float | None]:
    """Friction and delay, if the heights are far enough apart; else friction from single drops.

    t = t0 + sqrt(2 h / (g - f / m)): a straight line over sqrt(2 h) whose slope gives the
    friction and whose intercept gives the delay (common practice).
    """
    timed = [lesson for lesson in lessons if lesson.fall_time_s is not None]
    heights = [lesson.height_m for lesson in timed]
    if len(timed) >= 2 and max(heights) >= LEAST_HEIGHTS_APART * min(heights):
        way = np.array([math.sqrt(2.0 * lesson.height_m) for lesson in timed])
        time_s = np.array([lesson.fall_time_s for lesson in timed], dtype=float)
        (delay, slope), *_ = np.linalg.lstsq(
            np.stack([np.ones_like(way), way], axis=1), time_s, rcond=None
        )
        fraction = 1.0 - 1.0 / (G * slope**2)
        sure = ONSET_U_S / (np.ptp(way) * slope)  # of the slope, relative
        if -0.02 <= fraction < 0.5 and sure < 0.05:
            mass = float(np.mean([lesson.mass_kg for lesson in timed]))
            return float(max(fraction, 0.0) * mass * G), float(delay)
    known = [lesson.friction_n for lesson in lessons if lesson.friction_n is not None]
    return (float(np.median(known)), None) if known else (None, None)


def advice(learned: Learned) -> tuple[bool, str]:
    """Whether to go on with the ladder, and why."""
    last = learned.ratios[-1]
    if learned.refused and learned.refused[-1][1].startswith(("record", "load path")):
        return False, f"stop and explain {learned.refused[-1][0]}: {learned.refused[-1][1]}"
    if abs(last - 1.0) > GO_ON_WITHIN:
        ratio = shown(last, "", (1.0 - GO_ON_WITHIN, 1.0 + GO_ON_WITHIN), least=2)
        return False, (
            f"stop and explain: the last drop measured {ratio.text} of the prediction, "
            f"{ratio.level(0)} to {ratio.level(1)} is allowed"
        )
    if learned.line.may_stiffen:
        return True, (
            "go on, if nothing moved or changed; the line is still bedding in: the next peak may "
            f"be up to {100 * (math.sqrt(1 + learned.line.may_stiffen) - 1):.0f} % higher"
        )
    return True, "go on, if nothing moved or changed and the mount is proven for the next step"
