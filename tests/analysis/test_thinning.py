"""Thinning: fewer values, and no extreme of them is lost."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tautlog.analysis.thinning import extremes, thinned

VALUES = st.lists(
    st.floats(-1e6, 1e6) | st.just(float("nan")) | st.sampled_from([1.0, -1.0]), max_size=300
)


@given(values=VALUES, most=st.integers(4, 60))
def test_no_extreme_is_lost(values, most):
    force = np.array(values, np.float64)
    places = thinned(force, most)
    assert places.size <= max(most, 0) + 2
    assert np.all(np.diff(places) > 0)
    known = force[np.isfinite(force)]
    if known.size:
        assert np.nanmin(force[places]) == known.min()
        assert np.nanmax(force[places]) == known.max()
    if force.size:
        assert (places[0], places[-1]) == (0, force.size - 1)


@given(values=VALUES, per=st.integers(1, 50))
def test_each_stretch_gives_its_own_lowest_and_highest(values, per):
    force = np.array(values, np.float64)
    low, high = extremes(force, per)
    for number, start in enumerate(range(0, force.size, per)):
        piece = force[start : start + per]
        assert start <= low[number] < start + piece.size
        assert start <= high[number] < start + piece.size
        if np.isfinite(piece).any():
            assert force[low[number]] == np.nanmin(piece)
            assert force[high[number]] == np.nanmax(piece)


def test_a_gap_that_fills_a_stretch_is_seen():
    force = np.sin(np.linspace(0.0, 9.0, 10_000))
    force[4000:5000] = np.nan
    drawn = force[thinned(force, 200)]
    assert np.isnan(drawn).any()
