"""What parted, slid or was caught, and what did not: the truth is that of tests/tools/hitched."""

import functools
import re
from dataclasses import replace

import numpy as np
import pytest
from hitched import RATE_HZ, RELEASE_S, SLED, STEPS, dropped, kelvin, seen, soft

from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark


def told(force_n, setup=SLED, **more):
    """Marks, what is said of the load path, and why."""
    marks = mark(seen(force_n, **more), setup)
    verdict = judge(marks, setup)
    (why,) = [one.text for one in verdict.reasons if one.code == f"trace-{verdict.trace_says}"]
    return marks, verdict.trace_says, why


@functools.cache
def whole():
    """A line that holds, and bounces on."""
    return dropped(lambda _, x, v: kelvin(x, v))


@functools.cache
def hanging():
    """A line with so much loss that the sled soon hangs."""
    return dropped(lambda _, x, v: kelvin(x, v, damping=330.0), total_s=3.2)


def said_of(why):
    """Force and time of a later break, as they are told."""
    return tuple(map(float, re.search(r"let go at (\d+) N, at ([\d.]+) s", why).groups()))


def pulls(force_n):
    """First and last sample of each pull."""
    edges = np.flatnonzero(np.diff((force_n > 0.0).astype(int), prepend=0, append=0))
    return list(zip(edges[::2], edges[1::2], strict=True))


def parted_in(force_n, number, share):
    """The same up to a share of a pull's length, and nothing after that."""
    first, last = pulls(force_n)[number]
    at = int(first + share * (last - first))
    return np.where(np.arange(force_n.size) < at, force_n, 0.0), at


@pytest.mark.parametrize("seconds", [None, 2.2, 2.0])
@pytest.mark.parametrize("share", [0.3, 0.55])
def test_a_path_that_parts_in_a_bounce_let_go(share, seconds):
    force_n, at = parted_in(whole(), 1, share)
    stop = None if seconds is None else int(seconds * RATE_HZ)
    _, says, why = told(force_n[:stop])
    assert says == "let-go"
    assert said_of(why) == pytest.approx((force_n[at - 1], at / RATE_HZ), rel=0.01)


def test_and_in_the_third_pull():
    assert told(parted_in(whole(), 2, 0.4)[0])[1] == "let-go"


@pytest.mark.parametrize("after_s", [-0.004, 0.02, 0.3, 0.6])
def test_a_record_that_ends_after_a_whole_bounce_held(after_s):
    stop = pulls(whole())[1][1] + int(after_s * RATE_HZ)
    assert told(whole()[:stop])[1] == "held"


@pytest.mark.parametrize("left_s", [0.05, 0.2, 0.8])
def test_a_sled_that_hung_and_hangs_no_more(left_s):
    at = hanging().size - int(left_s * RATE_HZ)
    force_n = np.where(np.arange(hanging().size) < at, hanging(), 0.0)
    _, says, why = told(force_n)
    assert says == "let-go"
    assert said_of(why) == pytest.approx((88.0, at / RATE_HZ), rel=0.05)


def test_one_that_hangs_to_the_end_held():
    assert told(hanging())[1] == "held"


def test_one_that_is_lifted_off_slowly_is_not_said_to_hold():
    """Hands take it up over a third of a second: nothing parted, and nothing hangs."""
    ramp = np.clip((hanging().size - 9000 - np.arange(hanging().size)) / 3000.0, 0.0, 1.0)
    _, says, why = told(hanging() * ramp)
    assert says == "unclear"
    assert "hangs anywhere above" in why


@pytest.mark.parametrize("end_s", [2.2, 3.4])
def test_a_sled_that_a_latch_catches_above_did_not_let_go(end_s):
    caught = dropped(lambda _, x, v: kelvin(x, v), total_s=end_s, hold_s=1.1)
    marks, says, why = told(caught)
    assert marks.bounces == 0
    assert says == "unclear"
    if marks.rest_force_n is not None:
        assert "hangs anywhere above" in why


@pytest.mark.parametrize("rate_hz", [10_000.0, 2_000.0])
@pytest.mark.parametrize("share", [0.2, 0.35])
def test_a_break_that_the_first_pull_shows_let_go(share, rate_hz):
    force_n = parted_in(whole(), 0, share)[0][:: int(RATE_HZ / rate_hz)]
    fell = np.pad(force_n, (0, int(rate_hz)))
    assert told(fell, rate_hz=rate_hz)[1] == "let-go"


def taken_over(parts_n, gap_m):
    """An article that parts, and a second line in the same cell that comes taut later."""
    parted_m = []

    def force(_, x, v):
        pull_n = soft(x, v)
        if not parted_m and pull_n > parts_n:
            parted_m.append(x)
        return soft(x - parted_m[0] - gap_m, v) if parted_m else pull_n

    return dropped(force, total_s=2.9)


@pytest.mark.parametrize(("parts_n", "gap_m"), [(400.0, 0.06), (600.0, 0.12), (250.0, 0.03)])
@pytest.mark.parametrize("release_s", [None, RELEASE_S])
def test_a_second_line_that_took_over_is_seen(parts_n, gap_m, release_s):
    marks, says, why = told(taken_over(parts_n, gap_m), release_time_s=release_s)
    assert says != "held"
    assert "parted or slipped" in why or marks.first_damage_time_s is not None


@pytest.mark.parametrize("release_s", [None, RELEASE_S])
def test_a_line_that_comes_taut_once_has_no_forerunner(release_s):
    marks, says, _ = told(whole(), release_time_s=release_s)
    assert not marks.has("forerunner")
    assert says == "held"


def test_a_coil_that_is_heard_at_the_release_is_none():
    heard = whole().copy()
    first = int((RELEASE_S + 0.01) * RATE_HZ)
    heard[first : first + 40] += 300.0
    assert not told(heard, release_time_s=RELEASE_S)[0].has("forerunner")


@pytest.mark.parametrize(("share", "leg_n"), [(0.5, 80.0), (0.3, 100.0), (0.5, 120.0)])
def test_one_of_two_legs_that_parts_low_in_the_rise_is_seen(share, leg_n):
    left = [1.0]

    def force(_, x, v):
        if share * soft(x, v) > leg_n:
            left[0] = 1.0 - share
        return left[0] * soft(x, v)

    marks, says, why = told(dropped(force, total_s=2.9))
    assert says == "unclear"
    assert "before its peak" in why
    assert abs(marks.first_damage_force_n) == pytest.approx(leg_n / share, rel=0.2)


@pytest.mark.parametrize("toe_m", [0.01, 0.03])
def test_a_toe_is_no_leg_that_parts(toe_m):
    line = lambda _, x, v: soft(x * x / (x + toe_m), v) if x > 0.0 else 0.0  # noqa: E731
    marks, _, why = told(dropped(line, total_s=2.9))
    assert marks.first_damage_time_s is None
    assert "before its peak" not in why


def test_nor_is_a_knock_of_the_fittings():
    """They swing once as they come taut: half a millisecond up, and as long down."""
    knocked, first = whole().copy(), pulls(whole())[0][0]
    since = np.arange(12)
    knocked[first : first + 12] += 150.0 * np.sin(np.pi * since / 12)
    assert not told(knocked)[0].has("early-fall")


def test_nor_is_a_line_that_only_loses():
    marks, says, _ = told(dropped(lambda _, x, v: soft(x, v), total_s=2.9))
    assert marks.first_damage_time_s is None
    assert says == "held"


def slid(stiffness, per_newton_s, damping, power=1.0):
    """A line behind a hitch that slides as it is pulled; and by how much, at each sample."""
    way_m = [0.0]

    def force(_, x, v):
        pull_n = max(stiffness * (x - way_m[0]) * (1.0 + damping * v), 0.0)
        way_m[0] += (pull_n / 2000.0) ** power * 2000.0 / per_newton_s / RATE_HZ / STEPS
        return pull_n

    return dropped(force, total_s=2.9), way_m


@pytest.mark.parametrize("damping", [0.0, 0.04])
@pytest.mark.parametrize("per_newton_s", [2000.0, 4000.0, 8000.0])
def test_a_hitch_that_slides_in_every_pull_is_not_said_to_hold(per_newton_s, damping):
    force_n, way_m = slid(26_000.0, per_newton_s, damping)
    _, says, why = told(force_n)
    assert way_m[0] > 0.02  # in the end, of a stretch of 90 mm
    assert says == "unclear"
    assert "slides as long as it is pulled" in why


@pytest.mark.parametrize("noise_n", [0.5, 2.0, 8.0])
@pytest.mark.parametrize("damping", [0.0, 55.0, 120.0])
def test_a_line_that_only_loses_does_not_slide(damping, noise_n):
    force_n = dropped(lambda _, x, v: kelvin(x, v, damping=damping), total_s=2.9)
    marks, says, _ = told(force_n, noise_n=noise_n)
    assert not marks.has("slip-not-excluded")
    assert says == "held"


@pytest.mark.parametrize("settles_s", [0.005, 0.02, 0.06])
def test_nor_does_one_that_creeps_and_recovers_at_once(settles_s):
    """A spring beside a spring with a damper in series: the standard linear solid."""
    way_m = [0.0]

    def force(_, x, v):
        taut_m = max(x, 0.0)
        way_m[0] += (taut_m - way_m[0]) / settles_s / RATE_HZ / STEPS
        return max(14_000.0 * taut_m + 9_000.0 * (taut_m - way_m[0]), 0.0) if x > 0.0 else 0.0

    assert "slides as long" not in told(dropped(force, total_s=2.9))[2]


def test_a_drop_that_comes_to_rest_on_its_catch_is_not_silent():
    setup = replace(SLED, end_state="rests")
    first, last = pulls(whole())[1]
    lies = np.where(np.arange(whole().size) < last, whole(), 0.0)
    assert not told(np.pad(lies, (0, 20_000)), setup)[0].has("silent")
    assert first < last


def test_what_is_missing_is_not_silent():
    """A gap after the second pull may hide the third."""
    _, last = pulls(whole())[1]
    lost = whole().copy()
    lost[last + 50 :] = 0.0
    lost = np.pad(lost, (0, 10_000))
    lost[last + 2000 : last + 2500] = np.nan
    assert not told(lost)[0].has("silent")
