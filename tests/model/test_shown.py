"""A shown force never contradicts its verdict, and has the digits of its uncertainty."""

import re
from decimal import Decimal

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from tautlog.analysis.judge import judge
from tautlog.archive.assessment import Assessment
from tautlog.archive.verdict_lines import load_words
from tautlog.display.overlay_words import curve_words
from tautlog.display.report.headline_figures import headline_figures
from tautlog.model.display_units import Units
from tautlog.model.marks import Marks
from tautlog.model.shown import shown_force
from tautlog.model.trace import DropSetup

UNITS = st.sampled_from([Units(), Units(force="kN"), Units(force="lbf")])
LEVEL_N = st.integers(10, 2 * 10**6).map(lambda tenths: tenths / 10)
OFF_N = st.one_of(st.floats(-2.0, 2.0), st.integers(-20, 20).map(lambda tenths: tenths / 10))
SPREAD_N = st.one_of(st.none(), st.floats(0.01, 900.0), st.integers(1, 900).map(float))


def sides(force, spread, levels):
    """The side of each level on which the force and both ends of its interval stand."""
    ends = (force,) if spread is None else (force - spread, force, force + spread)
    return [(end > level) - (end < level) for level in levels for end in ends]


@given(LEVEL_N, OFF_N, SPREAD_N, st.sampled_from([1.0, 1.1]), st.integers(-1, 1), UNITS)
@example(9000.0, 0.4, None, 1.0, 0, Units())  # over, and shown as 9000 in whole newtons
@example(9000.0, -0.4, None, 1.0, 0, Units())  # below, and shown the same
@example(9000.0, 0.4, 10.0, 1.0, 1, Units(force="lbf"))
def test_a_shown_force_stands_on_the_side_of_the_measured_one(
    level, off, spread, times, end, units
):
    force = level + off + end * (spread or 0.0)
    if force <= 0.0:
        return
    levels = (level, times * level)
    shown = shown_force(force, spread, levels, units)
    truth = sides(
        Decimal(force), None if spread is None else Decimal(spread), [Decimal(n) for n in levels]
    )
    seen = sides(
        Decimal(shown.number),
        Decimal(shown.spread) if shown.spread else None,
        [Decimal(text) for text in shown.levels],
    )
    size = units.of("N").size
    near = 2e-9 * max(levels)  # no digits tell a force from a level that is so near
    ends = [0.0] if spread is None else [-spread, 0.0, spread]
    told = [abs(force + end - one) > near for one in levels for end in ends]
    assert [one for one, clear in zip(seen, told, strict=True) if clear] == [
        one for one, clear in zip(truth, told, strict=True) if clear
    ]
    step = 10.0 ** Decimal(shown.number).as_tuple().exponent
    assert abs(float(shown.number) * size - force) <= max(step, spread or 0.0) * size


@pytest.mark.parametrize(
    ("force", "spread", "text"),
    [
        (1890.4, None, "1890"),
        (1890.44, 41.3, "1890 +/- 41"),
        (1890.44, 4.13, "1890.4 +/- 4.1"),
        (1887.4, 413.0, "1890 +/- 410"),
        (1890.44, 9.96, "1890 +/- 10"),
        (-0.2, None, "0"),
        (-1890.4, 41.0, "-1890 +/- 41"),
    ],
)
def test_the_uncertainty_decides_on_the_digits(force, spread, text):
    """GUM (JCGM 100:2008) 7.2.6: two significant digits of U, and the estimate to fit."""
    assert shown_force(force, spread).interval == text


def assessed(peak_n, spread_n, target_n, limit_n):
    setup = DropSetup(target_n=target_n, limit_n=limit_n)
    marks = Marks(
        sample_rate_hz=62_500.0,
        samples=1000,
        cfc=None,
        peak_force_n=peak_n,
        peak_force_expanded_u_n=spread_n,
        target_force_n=target_n,
        limit_force_n=limit_n,
    )
    return Assessment(marks, judge(marks, setup), setup)


def says(force, spread, target, limit):
    """The load verdict that follows from what is shown."""
    if force - spread > limit:
        return "overload"
    if force + spread < target:
        return "under"
    if force - spread < target:
        return "unproven"
    return "possible-overload" if force + spread > limit else "on-target"


PEAK = re.compile(r"(-?[\d.]+)(?: N)? \+/- ([\d.]+) N")


@given(
    st.integers(1000, 90000).map(lambda tenths: tenths / 10),
    st.sampled_from([1.002, 1.02, 1.1]),
    st.integers(1, 400).map(lambda hundredths: hundredths / 100),
    st.integers(-30, 30).map(lambda hundredths: hundredths / 100),
    st.sampled_from([-1, 0, 1]),
    st.booleans(),
)
@example(9000.0, 1.1, 0.5, 0.4, 1, True)
def test_no_line_with_a_peak_contradicts_the_verdict_beside_it(
    target, times, spread, off, end, at_limit
):
    limit = round(times * target, 1)
    peak = (limit if at_limit else target) + off + end * spread
    peak = round(peak, 4)
    # Where an end lies on a level to the last bit, the arithmetic of doubles decides.
    assume(
        all(abs(peak + sign * spread - one) > 1e-6 for one in (target, limit) for sign in (1, -1))
    )
    drop = assessed(peak, spread, target, limit)
    reason = next(one.text for one in drop.verdict.reasons if one.code.startswith("load-"))
    low, high = re.search(r"against ([\d.]+) N to ([\d.]+) N", reason).groups()
    lines = [reason, load_words(drop), curve_words(drop, "contact"), headline_figures(drop)[0][1]]
    for line in lines:
        shown = [Decimal(text) for text in PEAK.search(line).groups()]
        assert says(*shown, Decimal(low), Decimal(high)) == drop.verdict.load_verdict, line
