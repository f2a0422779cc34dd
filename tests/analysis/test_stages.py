"""Stages of marking: each figure is told by one of them, as what `Marks` says that it is."""

from dataclasses import FrozenInstanceError, fields

import numpy as np
import pytest
from traces import NOBODY, arrest, half_sine, plain, recorded

from tautlog.analysis.loading import Loading
from tautlog.analysis.marking import mark
from tautlog.analysis.stage1_signal import force_of, signal_of
from tautlog.analysis.stage2_place import Located, ZeroTold, locate
from tautlog.analysis.stage3_loss import find_parting
from tautlog.analysis.stage4_contact import Impulse, Times, Wholeness
from tautlog.analysis.stage5_after import After, LossTold
from tautlog.analysis.stage5_ring import RingTold
from tautlog.analysis.stage6_closures import Agreement, Closures
from tautlog.analysis.stage6_speed import Speed
from tautlog.analysis.stage7_damage import Damage, Shape
from tautlog.analysis.stage8_peak import LinePeak, Peak
from tautlog.analysis.stage9_doubts import Completeness
from tautlog.analysis.stretch import Stretch
from tautlog.analysis.stretch_budgets import Spread
from tautlog.model.marks import Marks
from tautlog.model.trace import DropSetup

RESULTS = (
    *(ZeroTold, Times, Wholeness, Impulse, After, Agreement, Closures, Speed, LossTold, Shape),
    *(Stretch, Spread, Damage, Peak, Loading, RingTold, LinePeak, Completeness),
)
# What is known before any stage, and what is put together of several.
HEAD = set(
    "sample_rate_hz samples missing_samples release_time_s article_wire_s mount_wire_s cfc "
    "target_force_n limit_force_n flash_time_s flash_late_s".split()
)
TOGETHER = {"findings", "budgets", "curve"}
FIGURES = {one.name: str(one.type) for one in fields(Marks) if one.name not in HEAD | TOGETHER}


def signal(trace, setup=NOBODY, cfc=180):
    return signal_of(trace, setup, force_of(trace), cfc=cfc, take_zero=True)


def test_each_figure_is_told_by_one_stage():
    told = [one.name for result in RESULTS for one in fields(result) if one.name in FIGURES]
    assert sorted(told) == sorted(FIGURES)


@pytest.mark.parametrize("result", RESULTS, ids=lambda one: one.__name__)
def test_stage_tells_a_figure_as_marks_has_it(result):
    for one in fields(result):
        if one.name in FIGURES:
            allowed = FIGURES[one.name].split(" | ")
            assert set(str(one.type).split(" | ")) <= set(allowed), one.name


def test_contact_is_where_the_half_sine_is():
    rng = np.random.default_rng(7)
    force_n = half_sine(1000.0, 0.02) + rng.normal(0.0, 1.0, 62500)
    found = locate(signal(plain(force_n)))
    assert isinstance(found, Located)
    assert found.onset / found.rate_hz == pytest.approx(0.5, abs=2e-4)
    assert found.slack / found.rate_hz == pytest.approx(0.52, abs=2e-4)
    assert found.peak / found.rate_hz == pytest.approx(0.51, abs=2e-4)


def test_noise_holds_no_contact():
    noise_n = np.random.default_rng(3).normal(0.0, 1.0, 62500)
    assert not isinstance(locate(signal(plain(noise_n))), Located)


def test_force_before_a_break_is_filtered_by_itself():
    """The class smears a collapse over the force before it; the stage of the loss does not."""
    force_n = arrest(10.0, 1.0, 20e3, 0.1, breaks_at_n=1500.0)[1]
    setup = DropSetup(mass_kg=10.0, height_m=1.0)
    place = locate(signal(recorded(force_n), setup))
    pull = find_parting(place)
    assert pull.loss is not None
    broke = int(pull.loss.index)
    assert place.pulse_n[broke] < 0.7 * 1500.0
    assert pull.pulse_n[broke] == pytest.approx(1500.0, rel=0.01)


def test_results_cannot_be_changed():
    place = locate(signal(recorded(arrest(10.0, 1.0, 20e3, 0.1)[1])))
    with pytest.raises(FrozenInstanceError):
        place.peak = 0


def test_marking_leaves_the_trace_alone():
    trace = recorded(arrest(10.0, 1.0, 20e3, 0.1)[1])
    before = trace.force_n.copy()
    mark(trace, NOBODY)
    assert np.array_equal(before, trace.force_n)
