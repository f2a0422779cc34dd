"""The gate by itself: one object in, every reason why not out."""

import dataclasses
import json

import pytest
from brought_up import bring_up
from hypothesis import given, settings
from hypothesis import strategies as st
from intended_drops import DATED, GOOD
from kites import kite_in
from made_records import VIRTUAL, made

from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.drop_setup import DropRequest, mount_name, setup_from
from tautlog.campaign.new_campaign import write_new_campaign
from tautlog.campaign.proofs import Proof
from tautlog.campaign.sections import RigLimits
from tautlog.drop.granting import checked_for, count_elsewhere, permitted
from tautlog.errors import CampaignError, QuantityError, RefusedError
from tautlog.model.calibration import Calibration
from tautlog.model.line import Line
from tautlog.model.load_path import Element, Mount
from tautlog.model.quantities import FORCE, HEIGHT, MASS, SLOPE, VOLT, Quantity
from tautlog.model.timestamp import day_problem, today
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.planning.electronics_advice import Electrics
from tautlog.planning.gate import aim_checks, findings, refusals
from tautlog.planning.intended import drops_since_proof
from tautlog.planning.planned_drop import PlannedDrop
from tautlog.planning.prediction import predict_drop
from tautlog.record import open_record
from tautlog.rehearsal.process import BoardProcess
from tautlog.rehearsal.rig import SimulatedRig
from tautlog.rehearsal.scene import default_scene


def codes(**changes):
    return [one.code for one in refusals(dataclasses.replace(GOOD, **changes))]


def test_a_drop_predicted_above_its_limit_is_told_and_not_refused():
    """Found by an attack: eighteen times the target was armed at the desk without a word."""
    assert aim_checks(GOOD) == []
    assert aim_checks(dataclasses.replace(GOOD, upper_n=1980.0)) == []
    hard = dataclasses.replace(GOOD, upper_n=110.0)
    (check,) = aim_checks(hard)
    assert not check.refuses
    assert "the limit is 110 N: expect an overload" in check.text
    assert refusals(hard) == ()


def test_whoever_permits_a_hard_drop_says_so(tmp_path, monkeypatch):
    campaign = read_campaign(kite_in(tmp_path, monkeypatch))
    for target_n, said in ((100.0, 1), (None, 0)):
        told = []
        setup = setup_from(campaign, DropRequest(target_n=target_n))
        permitted(campaign, setup, say=told.append)
        looks = [one.text for one in checked_for(campaign, setup) if "overload" in one.text]
        assert len(looks) == sum("expect an overload" in text for text in told) == said


def test_nothing_is_refused_of_a_drop_within_all_limits():
    assert codes() == []
    assert all(one.holds for one in findings(GOOD))


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"mount": Mount("m", 2000.0)}, ["mount-too-low"]),
        ({"mount": Mount("m")}, ["mount-unproven"]),
        ({"mount": Mount("m", 0.0, failed="it yields")}, ["mount-failed"]),
        ({"mount": Mount("m", 3000.0, good_for_drops=3)}, ["mount-expired"]),
        ({"mount": None}, ["mount-unknown"]),
        ({"mount": None, "mount_name": "", "mounts": ("m", "n")}, ["mount-unnamed"]),
        ({"article": "b"}, ["article-unknown"]),
        ({"mass_kg": None}, ["peak-unknown"]),
        ({"height_m": None}, ["peak-unknown"]),
        ({"line": None}, ["peak-unknown"]),
        ({"friction_n": 1000.0}, ["peak-unknown"]),
        ({"rig": RigLimits(rails_m=1.3, margin_m=0.1)}, ["rails"]),
        ({"rig": RigLimits(catch_energy_j=100.0)}, ["catch"]),
        ({"rig": RigLimits(most_mass_kg=8.0)}, ["mass"]),
        ({"electrics": Electrics(rated_n=2000.0)}, ["cell-load"]),
        ({"calibration": dataclasses.replace(DATED, rail_high_v=2.0)}, ["amplifier-range"]),
        ({"calibration": Calibration(-1000.0, zero_v=1.0, date=today())}, ["amplifier-range"]),
        ({"calibration": Calibration(-1000.0, zero_v=3.0, date=today())}, []),
        ({"calibration_doubts": ("units",)}, ["calibration"]),
        (
            {"elements": (Element("screws", 4000.0, factor=2.0, part="mount"),)},
            ["element-mount"],
        ),
        ({"elements": (Element("part", 500.0, part="article"),)}, []),
        # What nobody stated is not known, and refuses nothing.
        ({"rig": RigLimits(), "electrics": Electrics(), "elements": ()}, []),
    ],
)
def test_each_limit_refuses(changes, expected):
    assert codes(**changes) == expected


def test_what_is_not_stated_is_told_as_unknown():
    bare = dataclasses.replace(GOOD, rig=RigLimits(), electrics=Electrics(), elements=())
    told = {one.code for one in findings(bare) if not one.holds}
    assert told == {
        "mass-unknown",
        "rails-unknown",
        "catch-unknown",
        "cell-unknown",
        "path-unknown",
    }


def test_no_override_opens_a_failed_proof_an_unnamed_mount_or_a_wrong_calibration():
    final = {
        one.code
        for changes in (
            {"mount": Mount("m", 0.0, failed="it yields")},
            {"mount": None, "mount_name": "", "mounts": ("m", "n")},
            {"calibration_doubts": ("units",)},
            {"mount": Mount("m")},
            {"line": None},
        )
        for one in refusals(dataclasses.replace(GOOD, **changes))
        if one.final
    }
    assert final == {"mount-failed", "mount-unnamed", "calibration"}


@settings(max_examples=30, deadline=None)
@given(
    mass_kg=st.floats(2, 30),
    height_m=st.floats(0.1, 2.5),
    stiffness=st.floats(2e3, 5e5),
    proven_n=st.floats(100, 20_000),
)
def test_whatever_is_dropped_is_held_against_the_proof(mass_kg, height_m, stiffness, proven_n):
    line = Line("l", stiffness, 0.0, 0.1)
    found = codes(
        mass_kg=mass_kg,
        height_m=height_m,
        line=line,
        mount=Mount("m", proven_n),
        rig=RigLimits(),
        electrics=Electrics(),
        elements=(),
        calibration=dataclasses.replace(DATED, newton_per_volt=1e5),
        promised_newton_per_volt=1e5,
        target_n=None,
    )
    high_n = predict_drop(PlannedDrop(mass_kg, height_m, line, 3.5)).peak_high_n
    assert ("mount-too-low" in found) == (high_n > proven_n / 1.25)


def test_the_catch_takes_the_sled_with_no_line_at_all():
    """12 kg down 2.6 m of rails: m g h = 305.97 J, of 300 J."""
    # On a soft line, so that nothing else refuses.
    (one,) = refusals(
        dataclasses.replace(GOOD, mass_kg=12.0, mount=Mount("m", 9e3), line=Line("l", 15e3))
    )
    assert one.code == "catch"
    assert f"catch: {12.0 * G * 2.6:.0f} J" in one.text
    assert "its own stroke is not stated" in one.text


def test_the_weight_goes_on_pushing_over_the_stroke_of_the_catch():
    """Of 235 J m g h = 229.5 J holds; m g (h + s) with a stroke of 0.1 m, 238.3 J, does not."""
    tight = dataclasses.replace(GOOD.rig, catch_energy_j=235.0)
    assert codes(rig=tight) == []
    stroke = dataclasses.replace(tight, catch_stroke_m=0.1)
    (one,) = refusals(dataclasses.replace(GOOD, rig=stroke))
    assert f"catch: {9.0 * G * 2.7:.0f} J without any line, 9.00 kg over 2.700 m" in one.text


# Permits


@pytest.fixture
def campaign(tmp_path):
    path = write_new_campaign(tmp_path / "kite")
    text = path.read_text().replace("proven_n = 0.0", "proven_n = 2000.0")
    text = text.replace('proven_on = ""', 'proven_on = "2026-03-01"')
    path.write_text(text.replace('\ndate = ""', f'\ndate = "{today()}"'))
    bring_up(path.parent)
    return read_campaign(path)


def test_a_script_asks_the_same_and_the_override_goes_into_the_record(campaign):
    told = []
    setup = setup_from(campaign)
    with pytest.raises(RefusedError, match="good for peaks up to 1600 N") as caught:
        permitted(campaign, setup, say=told.append)
    assert len(caught.value.reasons) == 1
    with pytest.raises(RefusedError, match="A named person may"):
        permitted(campaign, setup, by=" ", reason="steel link", say=told.append)
    given = permitted(campaign, setup, by="R. Lead", reason="steel link", say=told.append).setup
    kept = json.loads(given.override)
    assert (kept["by"], kept["reason"]) == ("R. Lead", "steel link")
    assert given.mount == "beam-1"
    assert told[-1].startswith("OVERRIDE by R. Lead")


def test_without_a_campaign_that_nothing_was_checked_goes_into_the_record():
    told = []
    permit = permitted(None, setup_from(None, DropRequest(mass_kg=9.0)), say=told.append)
    assert (permit.checked, permit.kind) == (False, "not checked")
    assert "NOT CHECKED" in json.loads(permit.setup.override)["refused"]
    assert "NOT CHECKED" in told[0]


def test_names_of_mounts(campaign):
    assert mount_name(campaign, None) == "beam-1"
    assert mount_name(None, None) == ""
    assert mount_name(None, "x") == "x"
    with pytest.raises(CampaignError, match=r"did you mean 'beam-1'\?"):
        mount_name(campaign, "beam1")


def test_a_drop_recorded_elsewhere_is_counted_and_a_rehearsed_one_is_not(campaign, tmp_path):
    permit = permitted(campaign, setup_from(campaign), by="L", reason="link", say=lambda text: None)
    setup = permit.setup
    mount = campaign.mounts[0]
    inside = made(campaign.folder / "a.h5", setup=setup)
    count_elsewhere(campaign, setup, inside)
    assert drops_since_proof(campaign, mount) == 1  # as a record, and not twice
    elsewhere = made(tmp_path / "b.h5", setup=setup)
    assert open_record(elsewhere).setup == setup
    assert json.loads(open_record(elsewhere).setup.override)["by"] == "L"
    count_elsewhere(campaign, setup, elsewhere)
    assert drops_since_proof(campaign, mount) == 2
    count_elsewhere(campaign, setup, made(tmp_path / "c.h5", setup=setup, board=VIRTUAL))
    count_elsewhere(campaign, setup, tmp_path / "none.h5")
    called_off = made(tmp_path / "d.h5", setup=setup, status="aborted", released=False, drops=False)
    count_elsewhere(campaign, setup, called_off)
    assert drops_since_proof(campaign, mount) == 2
    assert drops_since_proof(campaign, Mount("beam-2")) == 0


def test_health_refuses_a_calibration_that_is_not_plausible(campaign, monkeypatch, capsys):
    from tautlog.cli import run

    monkeypatch.chdir(campaign.folder)
    text = campaign.path.read_text()
    campaign.path.write_text(text.replace("newton_per_volt = 1000.0", "newton_per_volt = 1.0"))
    with BoardProcess(SimulatedRig(default_scene(), seed=1), speed=8.0) as board:
        assert run(["health", "--port", board.url, "--link-timeout", "3"]) == 1
    assert "0.001 times as much" in capsys.readouterr().err


def test_health_takes_the_zero_of_the_amplifier(campaign, monkeypatch, capsys):
    from tautlog.cli import run

    monkeypatch.chdir(campaign.folder)
    with BoardProcess(SimulatedRig(default_scene(), seed=1), speed=8.0) as board:
        given = ["health", "--port", board.url, "--link-timeout", "3"]
        run(given)
        assert "the voltage without force is not stated" not in "".join(capsys.readouterr())
        text = campaign.path.read_text()
        campaign.path.write_text(text.replace("\nzero_v = 0.45", "\nzero_v = 1.45"))
        assert run(given) == 1
        assert "expected 1.450 V without force" in capsys.readouterr().err
        campaign.path.write_text(text.replace("\nzero_v = 0.45", ""))
        run(given)
        assert "the voltage without force is not stated" in "".join(capsys.readouterr())


def test_the_permit_carries_the_zero_of_the_amplifier(campaign):
    setup = setup_from(campaign)
    given = permitted(campaign, setup, by="R. Lead", reason="steel link", say=lambda text: None)
    assert (given.calibration.zero_v, given.stated_zero_v) == (None, 0.45)


# Numbers and days


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf"), 10**400, "9", True])
@pytest.mark.parametrize("kind", [FORCE, HEIGHT, MASS, SLOPE, VOLT])
def test_no_quantity_takes_what_is_no_number(kind: Quantity, value):
    assert "allowed is" in kind.problem(value)
    with pytest.raises(QuantityError):
        kind.require("x", value)


def test_bounds_are_in_and_a_sign_may_be():
    for kind in (FORCE, HEIGHT, MASS):
        assert kind.problem(kind.lowest) == kind.problem(kind.highest) == ""
        assert kind.problem(1.001 * kind.highest) != ""
    assert SLOPE.problem(-950.0) == ""
    assert SLOPE.problem(0.0) != ""


def test_a_proof_cannot_be_made_of_nonsense():
    with pytest.raises(QuantityError, match="pulled_n = 3e\\+06: allowed is 10 to 200000 N"):
        Proof("2026-01-01T00:00:00Z", "A", "m", 3e6, 70.0)


@pytest.mark.parametrize(
    ("day", "word"),
    [
        ("01.03.2020", "such as 2020-03-01"),
        ("1/3/2020", "such as 2020-03-01"),
        ("2020-13-01", "such as 2026-03-01"),
        ("2020-03-01T10:00", "ISO 8601"),
        ("", "ISO 8601"),
        ("3020-03-01", "in the future"),
        ("1899-03-01", "in 1990 or later"),
        ("2020-02-29", ""),
    ],
)
def test_days(day, word):
    assert (word in day_problem(day)) if word else (day_problem(day) == "")
