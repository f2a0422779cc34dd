"""Flight beside a drop: its pulse against closed forms and a solver, and the words."""

import math

import numpy as np
import pytest
from made_records import made
from scipy.integrate import solve_ivp

from tautlog.archive.assess import assess
from tautlog.campaign.campaign import read_campaign
from tautlog.cli import run
from tautlog.errors import CampaignError
from tautlog.model.flight import Opening, Snatch
from tautlog.planning.against_flight import HARDER, SOFTER, UNKNOWN, Compared, against_flight
from tautlog.planning.flight_pulse import pulse_of
from tautlog.record import open_record


def test_a_snatch_is_a_half_sine():
    load = Snatch(5.0, 0.3, 10.0, 20_000.0)
    pulse, span_s = pulse_of(load), load.duration_s
    assert pulse.peak_force_n == pytest.approx(load.force_n, rel=1e-6)
    rise_s = (math.asin(0.9) - math.asin(0.1)) / math.pi * span_s
    assert pulse.rise_time_s == pytest.approx(rise_s, rel=1e-4)
    above_s = span_s * (1 - 2 * math.asin(0.5) / math.pi)
    assert pulse.above_s(load.force_n / 2) == pytest.approx(above_s, rel=1e-4)
    assert pulse.impulse_high_ns == pytest.approx(2 * load.force_n * span_s / math.pi, rel=1e-12)
    assert pulse.above_s(1.01 * load.force_n) == 0.0


@pytest.mark.parametrize("ballistic", [0.05, 0.5, 2.0, 30.0])
@pytest.mark.parametrize("growth", [1.0, 2.0])
def test_an_opening_is_that_of_a_solver(ballistic, growth):
    """M v' = - rho Cd S(t) v**2 / 2 with an area that fills as t**j: solved by scipy."""
    body_kg = 0.5 * ballistic * 1.225 * 2.0 * 30.0 * 0.4
    load = Opening(2.0, 30.0, 1.7, body_kg, 0.4, growth=growth)
    pulse = pulse_of(load)
    half = 0.5 * 1.225 * 2.0

    def area(time_s):
        return np.minimum(time_s / 0.4, 1.0) ** growth

    got = solve_ivp(
        lambda t, v: -half * area(t) * v**2 / body_kg,
        (0.0, pulse.time_s[-1]),
        [30.0],
        t_eval=pulse.time_s,
        rtol=1e-9,
        atol=1e-9,
        max_step=0.01,
    )
    np.testing.assert_allclose(
        pulse.force_n, 1.7 * half * area(pulse.time_s) * got.y[0] ** 2, rtol=1e-4, atol=0.05
    )
    assert pulse.peak_force_n == pytest.approx(load.force_n, rel=1e-4)
    full = int(np.searchsorted(pulse.time_s, 0.4))
    assert pulse.impulse_low_ns == pytest.approx(body_kg * (30.0 - got.y[0][full]), rel=1e-3)
    assert pulse.impulse_high_ns == pytest.approx(body_kg * 30.0)


def test_what_pulls_on_after_the_end_has_no_known_duration():
    pulse = pulse_of(Opening(2.0, 30.0, 1.7, 500.0, 0.4))
    assert pulse.above_s(0.5 * float(pulse.force_n[-1])) is None


@pytest.mark.parametrize(
    ("drop", "flight", "quick", "word"),
    [
        ((2.0, 3.0), (1.0, 1.9), False, HARDER),
        ((2.0, 3.0), (1.0, 1.9), True, SOFTER),
        ((1.0, 1.9), (2.0, 3.0), False, SOFTER),
        ((1.0, 1.9), (2.0, 3.0), True, HARDER),
        ((1.0, 2.0), (2.0, 3.0), False, UNKNOWN),
        (None, (2.0, 3.0), False, UNKNOWN),
        ((1.0, 2.0), None, True, UNKNOWN),
        ((1.0, math.inf), (2.0, 3.0), False, UNKNOWN),
        ((4.0, math.inf), (2.0, 3.0), False, HARDER),
    ],
)
def test_a_word_only_where_bounds_do_not_meet(drop, flight, quick, word):
    assert Compared("x", "N", drop, flight, quick).word == word


FLIGHT = """
[flight]
kind = "snatch"
body_kg = 25.0
canopy_kg = 1.2
speed_m_s = {speed}
stiffness_n_per_m = 30000.0
source = "invented"
{more}
"""


@pytest.fixture
def kite(tmp_path):
    folder = tmp_path / "kite"
    assert run(["init", str(folder)]) == 0
    return folder


def words(folder, *, speed=5.0, more="expanded_u_fraction = 0.1", **options):
    file = folder / "campaign.toml"
    file.write_text(file.read_text() + FLIGHT.format(speed=speed, more=more))
    drop = assess(open_record(made(folder / "one.h5", **options)))
    return against_flight(drop, read_campaign(folder, to_drop=False))


def test_a_drop_over_a_weak_flight_and_a_strong_one(kite):
    told = words(kite)
    by_name = {one.name: one.word for one in told.compared}
    assert by_name["peak"] == HARDER
    assert by_name["time above target"] == HARDER  # that flight never reaches it
    assert by_name["impulse"] == HARDER
    assert by_name["rise, 10 to 90 %"] == UNKNOWN  # the amplifier's bandwidth is not stated
    (rise,) = (one.text for one in told.compared if one.quick)
    assert "its uncertainty not known" in rise  # the drop's own figure stands there all the same
    assert "drop not known" not in rise


def test_a_strong_flight(kite):
    assert words(kite, speed=30.0).compared[0].word == SOFTER


@pytest.mark.parametrize("case", [{"more": ""}, {"status": "aborted", "drops": False}])
def test_what_is_not_known_is_unknown(kite, case):
    told = words(kite, **case)
    assert {one.word for one in told.compared} == {UNKNOWN}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[flight]\nkind = "snatch"\nbody_kg = 5.0', "canopy_kg is missing"),
        ("[flight]\nbody_kg = 5.0", "kind is missing"),
        ('[flight]\nkind = "leap"', "leap"),
        (FLIGHT.format(speed=-5.0, more=""), "speed_m_s"),
    ],
)
def test_a_flight_that_is_not_whole_is_refused(kite, text, says):
    file = kite / "campaign.toml"
    file.write_text(file.read_text() + "\n" + text)
    with pytest.raises(CampaignError, match=says):
        read_campaign(kite, to_drop=False)


def test_the_page_of_the_drop_over_flight(kite, capsys):
    path = made(kite / "one.h5")
    assert run(["show", str(path), "--page", "flight", "--out", str(kite / "a.png")]) != 0
    assert "[flight]" in capsys.readouterr().err
    file = kite / "campaign.toml"
    file.write_text(file.read_text() + FLIGHT.format(speed=5.0, more="expanded_u_fraction = 0.1"))
    assert run(["show", str(path), "--page", "flight", "--out", str(kite / "b.svg")]) == 0
    assert (kite / "b.svg").stat().st_size > 10_000
