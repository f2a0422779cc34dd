"""Whatever stands beside its limit is shown on the side on which it is, in every unit."""

import dataclasses
import re
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from intended_drops import GOOD

from tautlog.board.health import Health
from tautlog.board.readiness import Facts, findings
from tautlog.calibrate.hanging import Hanging
from tautlog.campaign.checklist import MOST_NOISE, measured_checks
from tautlog.campaign.proofs import Proof
from tautlog.model.calibration import Calibration
from tautlog.model.dimensions import BEYOND, UNCLEAR, WITHIN, Measured
from tautlog.model.display_units import CHOICES, Units
from tautlog.model.limits import HEADROOM
from tautlog.model.shown import TIE, shown
from tautlog.model.stream import Instrument
from tautlog.planning import gate
from tautlog.planning.electronics_advice import Electrics, advise

ALL = st.builds(Units, **{kind: st.sampled_from(known) for kind, known in CHOICES.items()})
NEAR = st.one_of(st.floats(0.98, 1.02), st.floats(0.99999, 1.00001), st.sampled_from([0.5, 2.0]))
KINDS = st.sampled_from(
    [("N", 0), ("m", 3), ("mm", 2), ("J", 0), ("kg", 2), ("m/s", 2), ("%", 0), ("%", 1), ("", 2)]
)
NUMBER = r"(-?[\d.]+)"
BOARD = Instrument("0.1.0", "a board", "1", 62500.0, 8, ("force",), 1024, 68)


def side(value, level):
    """1 above, -1 below, 0 at it; closer than a tie is at it."""
    value, level = Decimal(repr(value)), Decimal(repr(level))
    return 0 if abs(value - level) <= 2 * TIE * abs(level) else 1 if value > level else -1


def seen_side(value, level):
    value, level = Decimal(value), Decimal(level)
    return (value > level) - (value < level)


@given(st.integers(1, 10**6).map(lambda n: n / 1000), NEAR, KINDS, ALL)
def test_every_quantity_stands_on_its_side(level, times, kind, units):
    si, least = kind
    value = level * times
    told = shown(value, si, (level,), units, least=least)
    if truth := side(value, level):
        assert seen_side(told.number, told.levels[0]) == truth
    size = units.of(si).size
    step = 10.0 ** Decimal(told.number).as_tuple().exponent
    assert step <= 10.0**-least / size * (1 + 1e-9)  # no coarser than asked for
    assert abs(float(told.number) * size - value) <= 0.5001 * step * size


@pytest.mark.parametrize("value", [float("inf"), float("nan"), 1e300, -1e300, 0.0])
def test_what_has_no_digits_is_shown_as_it_is(value):
    pounds = Units(force="lbf")
    told = shown(value, "N", (1.0,), pounds)
    assert told.unit == "lbf"
    assert float(told.number) == pytest.approx(value / pounds.of("N").size, nan_ok=True)


def of_of(pattern, text):
    """The two numbers of a text, in their order."""
    found = re.search(pattern, text)
    assert found, text
    return found.groups()


def agree(pattern, check, value, level, *, swapped=False):
    """What a check shows agrees with what it says, and with the truth."""
    first, second = of_of(pattern, check.text)
    number, limit = (second, first) if swapped else (first, second)
    if truth := side(value, level):
        assert seen_side(number, limit) == truth, check.text
        assert (truth > 0) == (not check.holds), check.text


def one_of(checks, code):
    (found,) = [check for check in checks if check.code == code]
    return found


@given(NEAR, ALL)
def test_the_gate_never_refuses_what_is_shown_at_its_limit(times, units):
    """Mass, rails, catch, cell, mount: the limits lie near what the drop needs."""
    predicted, _ = GOOD.predicted
    way_m = predicted.height_m + predicted.stretch_m
    energy_j = 9.0 * 9.80665 * max(way_m, way_m + 0.1)
    force_n = predicted.peak_high_n
    rig = dataclasses.replace(
        GOOD.rig,
        most_mass_kg=9.0 / times,
        rails_m=(way_m + 0.1) / times,
        catch_energy_j=300.0,
    )
    drop = dataclasses.replace(
        GOOD, rig=rig, units=units, electrics=Electrics(rated_n=force_n / times)
    )
    checks = gate.findings(drop)
    agree(f"sled: {NUMBER} \\S+ of {NUMBER} ", one_of(checks, "mass"), 9.0, 9.0 / times)
    needed_m = way_m + rig.margin_m
    agree(f"= {NUMBER} \\S+ of {NUMBER} ", one_of(checks, "rails"), needed_m, rig.rails_m)
    agree(
        f"cell: {NUMBER} .* rated {NUMBER} ", one_of(checks, "cell-load"), force_n, force_n / times
    )
    fall_m = max(way_m, rig.rails_m)
    energy_j = 9.0 * 9.80665 * fall_m
    caught = dataclasses.replace(rig, catch_energy_j=energy_j / times)
    (catch,) = [
        one for one in gate.findings(dataclasses.replace(drop, rig=caught)) if one.code == "catch"
    ]
    agree(f"catch: {NUMBER} .*, of {NUMBER} ", catch, energy_j, energy_j / times)


@given(NEAR, ALL)
def test_advice_on_the_cell_agrees_with_its_share(times, units):
    electrics = Electrics(rated_n=3000.0)
    peak_n = 3000.0 / HEADROOM * times
    check = one_of(advise(electrics, peak_n, 0.06, units), "cell-range")
    agree(f"is {NUMBER} %.*at most {NUMBER} %", check, peak_n, 3000.0 / HEADROOM)


@given(NEAR, NEAR, ALL)
def test_readings_agree_with_what_is_allowed(tmp_path_factory, noise, room, units):
    target_n, upper_n = 1800.0, 1980.0
    health = Health(
        level_v=0.45,
        noise_n=MOST_NOISE * target_n * noise,
        rail_distance_n=401.0,
        latched=True,
        key_on=False,
        article_whole=True,
        mount_whole=True,
        lost=0,
        measured_rate_hz=62500.0,
        span_n=HEADROOM * target_n * room,
        noise_v=0.55e-3,
    )
    chain = Calibration(newton_per_volt=979.0, zero_v=0.45, converter="even")
    facts = Facts(health, chain, BOARD, target_n, upper_n)
    checks = measured_checks(facts, tmp_path_factory.getbasetemp(), target_n, units)
    agree(
        f"noise {NUMBER} .* at most {NUMBER} ",
        one_of(checks, "noise"),
        health.noise_n,
        MOST_NOISE * target_n,
    )
    first, second = of_of(
        f"{NUMBER} \\S+ to the far limit, {NUMBER} ", one_of(checks, "range").text
    )
    if truth := side(health.span_n, HEADROOM * target_n):
        assert seen_side(first, second) == truth
    full = dataclasses.replace(facts, upper_n=health.span_n / room, units=units)
    for found in findings(full):
        if found.code == "no-room":
            pair = of_of(f"{NUMBER} \\S+ of tension.* may reach {NUMBER} ", found.text)
            assert seen_side(*pair) == -1 or not side(full.health.span_n, full.upper_n)


@given(NEAR, ALL)
def test_a_hanging_check_shows_why_it_fails(times, units):
    weight_n = 88.3
    found = Hanging(weight_n + 3.0 * times, weight_n)
    first, second = of_of(f": {NUMBER} \\S+ off, {NUMBER} ", found.said(units))
    off = abs(found.read_n - weight_n)
    if truth := side(off, 3.0):
        assert seen_side(first, second) == truth
        assert found.holds == (truth < 0)


@given(NEAR, ALL)
def test_a_failed_proof_shows_why(times, units):
    given = {"deflection_m": 0.001 * times, "set_m": 0.0, "most_deflection_m": 0.001}
    proof = Proof("2026-01-03T10:00:00Z", "A", "m", 3000.0, 70.0, **given)
    for text in proof.failures_in(units).values():
        assert seen_side(*of_of(f"deflected {NUMBER} \\S+ at most {NUMBER} ", text)) == 1


@given(st.floats(-0.2, 0.2), st.sampled_from([0.0, 0.1, 0.37]))
def test_growth_and_its_interval_agree_with_the_word_beside_them(off, u_mm):
    told = Measured("length", 312.0, 312.5 + off, u_mm, 0.5)
    growth, spread, limit = re.search(
        rf"growth \+?{NUMBER} \+/- {NUMBER} mm \(k = 2\), limit {NUMBER} mm", told.text
    ).groups()
    low, high = Decimal(growth) - Decimal(spread), Decimal(growth) + Decimal(spread)
    near = min(
        abs(told.growth_mm + way * told.growth_expanded_u_mm - 0.5) for way in (-1.0, 0.0, 1.0)
    )
    if near > 1e-6:
        seen = WITHIN if high <= Decimal(limit) else BEYOND if low > Decimal(limit) else UNCLEAR
        assert seen == told.word, told.text
