"""Widths of tops: curves whose widths are known in closed form, with noise behind the rail."""

import numpy as np
import pytest

from tautlog.analysis.clipping import UNCLEAR, WHOLE, top_of
from tautlog.analysis.top_widths import ends_at_corner, is_sharp, lingers

TIME = np.linspace(-1.0, 1.0, 1201)
CURVED = 1000.0 * (1.0 - TIME**2)
# Friction of a rope turns round with the speed: the force falls off right after its top.
CORNERED = CURVED - 250.0 * np.where(TIME > 0.0, 1.0 - np.exp(-((TIME / 0.15) ** 2)), 0.0)
RISE = np.concatenate([np.linspace(0.0, 1000.0, 400), np.zeros(50)])


def noisy(force_n, rms_n=1.0):
    return force_n + np.random.default_rng(4).normal(0.0, rms_n, force_n.size)


@pytest.mark.parametrize("whole", [CURVED, CORNERED])
@pytest.mark.parametrize("likely", [True, False])
def test_a_curved_or_cornered_top_is_sharp(whole, likely):
    assert is_sharp(noisy(whole), noisy(whole), 1.0, likely=likely)


@pytest.mark.parametrize("whole", [CURVED, CORNERED])
@pytest.mark.parametrize("depth", [0.03, 0.06, 0.1])
@pytest.mark.parametrize("likely", [True, False])
def test_a_top_that_lacks_three_percent_is_not_sharp(whole, depth, likely):
    cut = noisy(np.minimum(whole, (1.0 - depth) * whole.max()))
    assert not is_sharp(cut, cut, 1.0, likely=likely)


@pytest.mark.parametrize("depth", [0.03, 0.06, 0.1])
def test_a_rail_right_before_a_break_is_not_excluded(depth):
    quiet = noisy(np.zeros(2000))
    cut = noisy(np.minimum(RISE, (1.0 - depth) * 1000.0))
    assert lingers(cut, cut, 1.0)
    assert top_of(cut, 62.5e3, cut, quiet, 0.1, broke=True).state == UNCLEAR


def test_a_straight_rise_that_breaks_is_whole():
    quiet = noisy(np.zeros(2000))
    force = noisy(RISE)
    assert not lingers(force, force, 1.0)
    assert top_of(force, 62.5e3, force, quiet, 0.1, broke=True).state == WHOLE


def test_noise_as_high_as_the_depth_excludes_no_rail_before_a_break():
    force = noisy(RISE, 15.0)
    assert lingers(force, force, 15.0)


def test_a_rail_before_a_slip_is_not_hidden_by_its_corner():
    """A rise that is cut by 3 % and then falls to half: curves say whole, it lingers."""
    rise = 1000.0 * np.sin(0.5 * np.pi * np.arange(2000) / 2000)
    fall = 500.0 + 500.0 * np.exp(-np.arange(2000) / 30.0)
    force = np.concatenate([rise, fall, np.linspace(500.0, 0.0, 1000)])
    assert ends_at_corner(force)
    cut = np.minimum(force, 970.0) + np.random.default_rng(2).normal(0.0, 1.0, force.size)
    assert ends_at_corner(cut)
    assert lingers(cut, cut, 0.1)
    whole = 1000.0 * np.sin(np.pi * np.arange(4000) / 4000)
    assert not ends_at_corner(whole)
    damped = whole * np.exp(-np.arange(4000) / 4000)
    assert not ends_at_corner(damped)
