"""Channels of a campaign: cells, calibrations of their own, accelerometer and supply."""

import json
import re
from dataclasses import replace

import pytest
from command_line import said
from kites import add, change, kite_in, refusal

from tautlog.board.channel_readiness import channel_findings
from tautlog.board.health import Health
from tautlog.campaign.campaign import read_campaign
from tautlog.errors import CampaignError
from tautlog.model.calibration import Calibration
from tautlog.model.channels import (
    Accelerometer,
    Channel,
    ExcitationMonitor,
    columns_of,
    role_of,
)
from tautlog.model.leg_facts import read_leg_facts
from tautlog.model.stream import Instrument

RIGHT = (
    '\n[[force_channel]]\nname = "force right"\nrated_n = 5000.0\nsensitivity_mv_per_v = 2.0\n'
    "excitation_v = 5.0\ngain = 500.0\nzero_v = 0.5\nrail_high_v = 3.1\n"
)
SIDE = "\n[accelerometer]\nvolt_per_m_s2 = 0.0014\nzero_v = 1.65\n"
SUPPLY = "\n[excitation]\ndivider_ratio = 2.0\nexpected_v = 5.0\n"
POINTS = "load_n,volt\n0,0.5\n98,0.599\n196,0.698\n294,0.797\n196,0.698\n98,0.599\n0,0.5\n"


@pytest.fixture
def kite(tmp_path, monkeypatch):
    folder = kite_in(tmp_path, monkeypatch)
    change(folder, "[cell]", '[cell]\nchannel = "force left"')
    add(folder, RIGHT + SIDE)
    return folder


@pytest.mark.parametrize(
    ("name", "role"),
    [
        *(("force", "force"), ("force left", "force"), ("excitation", "excitation")),
        *(("acceleration sled", "acceleration"), ("forces", "voltage"), ("Force", "voltage")),
        *(("", "voltage"), ("my force", "voltage")),
    ],
)
def test_the_first_word_of_a_name_is_its_role(name, role):
    assert role_of(name) == role


def test_the_first_column_is_a_force_whatever_its_name():
    assert columns_of(("channel 0", "force b", "x"), "force") == (0, 1)
    assert columns_of(("channel 0", "force b", "x"), "voltage") == (2,)


def test_a_scale_must_fit_its_channel():
    with pytest.raises(ValueError, match="must be Accelerometer, was Calibration"):
        Channel("acceleration", Calibration())


def test_a_leg_without_a_calibration_is_not_guessed_and_refuses(kite, capsys):
    campaign = read_campaign(kite)
    names = ["force left", "force right", "acceleration"]
    assert [one.name for one in campaign.channels] == names
    assert campaign.legs == (Channel("force right"),)
    assert "'force right': not calibrated" in refusal(capsys)
    assert campaign.sampling.channels == 3


def test_each_leg_has_its_own_calibration(kite, capsys):
    (kite / "points.csv").write_text(POINTS)
    before = read_campaign(kite)
    given = ["calibrate", "--from-csv", "points.csv", "--channel", "force right", "--json"]
    status, out, _ = said(capsys, *given)
    assert status == 0
    kept = json.loads((kite / json.loads(out)["file"]).read_text())
    assert kept["channel"] == "force right"
    campaign = read_campaign(kite)
    # 98 N on 0.099 V; the first channel keeps what campaign.toml states.
    right = campaign.legs[0].calibration
    assert right.newton_per_volt == pytest.approx(98 / 0.099, rel=1e-6)
    assert (right.rail_high_v, right.zero_v) == (3.1, pytest.approx(0.5))
    assert campaign.calibration == before.calibration
    assert "force right" not in refusal(capsys)
    assert "0001" in said(capsys, "calibrate", "--list")[1]
    # The file of one channel cannot correct that of another.
    wrong = ["calibrate", "--from-csv", "points.csv", "--channel", "force left"]
    wrong += ["--supersedes", "1", "--by", "A. Rigger", "--reason", "typing"]
    assert "is of channel force right" in said(capsys, *wrong)[2]


def test_a_channel_that_nobody_described(kite, capsys):
    told = said(capsys, "calibrate", "--from-csv", "points.csv", "--channel", "force middle")[2]
    assert "is not in campaign.toml" in told
    assert "force right" in told


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('name = "force right"', 'name = "right"', "begins with the word force"),
        ('name = "force right"', 'name = "force left"', "[cell] describes that channel"),
        ("volt_per_m_s2 = 0.0014", "volt_per_m_s2 = 14", "allowed is 1e-06 to 10"),
        ("# judged_on", "judged_on", ""),
        ('# judged_on = "sum"', 'judged_on = "force up"', "allowed is sum or a force channel"),
    ],
)
def test_mistakes_are_told(kite, old, new, told):
    path = kite / "campaign.toml"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))
    if not told:
        assert read_campaign(kite).setup.judged_on is None
        return
    with pytest.raises(CampaignError, match=re.escape(told)):
        read_campaign(kite)


LEFT_LEG = '[[leg]]\nname = "force left"\n'
RIGHT_LEG = '[[leg]]\nname = "force right"\n'
LEANS = "from_vertical_deg = 30\nangle_expanded_u_deg = 2\n"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (LEFT_LEG + LEANS + RIGHT_LEG + LEANS, ""),
        (LEFT_LEG + "limit_n = 900\n", ""),
        (LEFT_LEG + LEANS, "needs the angle of each leg"),
        (LEFT_LEG + "from_vertical_deg = 30\n", "without angle_expanded_u_deg"),
        (LEFT_LEG + "azimuth_deg = 30\n", "from_vertical_deg is missing"),
        (LEFT_LEG + LEANS.replace("30", "90"), "allowed is 0 to 85"),
        (LEFT_LEG + "target_n = 900\nlimit_n = 900\n", "allowed is a number > target_n"),
        ('[[leg]]\nname = "force up"\n', "allowed is a force channel"),
        (LEFT_LEG + LEFT_LEG, "defined twice"),
    ],
)
def test_what_is_stated_of_legs_goes_with_the_drop_or_is_refused(text, told, kite):
    path = kite / "campaign.toml"
    path.write_text(f"{path.read_text()}\n{text}")
    if told:
        with pytest.raises(CampaignError, match=told):
            read_campaign(kite)
        return
    facts = read_leg_facts(read_campaign(kite).setup.leg_facts)
    assert [one.name for one in facts][:1] == ["force left"]


def test_the_plan_says_which_window_results(kite, capsys):
    out = said(capsys, "plan")[1]
    assert "guarded window" in out
    assert "3 channel(s) at 20833.3 samples/s" in " ".join(out.split())


def test_four_channels_are_more_than_the_converter_has(kite, capsys):
    add(kite, SUPPLY)
    out = " ".join(said(capsys, "plan")[1].split())
    assert "campaign.toml states 4, the board's converter has 3 inputs" in out


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("zero_v = 1.65", "zero_v = 99", "zero_v = 99"),
        ("zero_v = 1.65", "zero_v = 3.3", "zero_v = 3.3"),
        ("volt_per_m_s2 = 0.0014", "volt_per_m_s2 = 0.2", "gives 3.61 V at rest, 1 g"),
        ("volt_per_m_s2 = 0.0014", "volt_per_m_s2 = -0.2", "gives -0.311 V at rest, 1 g"),
        ("zero_v = 0.5", "zero_v = 50", "[[force_channel]] force right: zero_v = 50"),
        ("\nzero_v = 0.45", "\nzero_v = 99", "[amplifier] zero_v = 99"),
        ("divider_ratio = 2.0", "divider_ratio = 1.5", "it gives 3.33 V of expected_v 5"),
        ("expected_v = 5.0", "expected_v = 30", "it gives 15 V of expected_v 30"),
    ],
)
def test_a_voltage_above_the_reference_is_refused(kite, old, new, said):
    """No input of the converter could read it; 1.65 V + 0.2 V/(m/s2) x 9.80665 m/s2 = 3.61 V."""
    add(kite, SUPPLY)
    read_campaign(kite)
    change(kite, old, new)
    with pytest.raises(CampaignError, match=re.escape(said)) as caught:
        read_campaign(kite)
    assert len(caught.value.problems) == 1
    assert "reference_v (3.3) under [calibration]" in caught.value.problems[0]


# Readiness

NAMES = ("force left", "force right", "acceleration")
BOARD = Instrument("0.1.0", "RP2040", "1", 20_833.3, 8, NAMES, 512, 48)
HEALTH = Health(0.45, 1.0, 400.0, True, True, True, True, 0)
GOOD = replace(
    HEALTH, channels_v=(0.45, 0.5, 1.65 + 0.0014 * 9.80665), channels_noise_v=(0.002,) * 3
)
LEG = Calibration(zero_v=0.5, range_n=2700.0)
CHANNELS = (
    Channel("force left", Calibration(zero_v=0.45)),
    Channel("force right", LEG),
    Channel("acceleration", Accelerometer(0.0014, zero_v=1.65)),
)


def codes(health=GOOD, channels=CHANNELS, board=BOARD):
    return {(one.code, one.refuses) for one in channel_findings(board, health, channels)}


def at(column, level_v, noise_v=0.002):
    levels, noises = list(GOOD.channels_v), list(GOOD.channels_noise_v)
    levels[column], noises[column] = level_v, noise_v
    return replace(GOOD, channels_v=tuple(levels), channels_noise_v=tuple(noises))


@pytest.mark.parametrize(
    ("health", "channels", "expected"),
    [
        (GOOD, CHANNELS, set()),
        (at(1, 0.03), CHANNELS, {("leg-at-rail", True)}),
        (at(1, 0.8), CHANNELS, {("leg-off-zero", True)}),
        (at(1, 0.6), CHANNELS, {("leg-zero-moved", False)}),
        (at(1, 0.5, 1e-5), CHANNELS, {("leg-too-quiet", True)}),
        (at(2, 1.65), CHANNELS, {("accelerometer-off", False)}),
        (GOOD, CHANNELS[:1], {("leg-uncalibrated", False), ("channel-unscaled", False)}),
        (
            GOOD,
            (*CHANNELS, Channel("excitation", ExcitationMonitor(2.0, 5.0))),
            {("channel-missing", False)},
        ),
        (GOOD, (*CHANNELS, Channel("force up", LEG)), {("channel-missing", True)}),
        (GOOD, (Channel("force", LEG), *CHANNELS[1:]), {("first-channel", True)}),
    ],
)
def test_every_channel_is_judged_before_a_drop(health, channels, expected):
    assert codes(health, channels) == expected


@pytest.mark.parametrize(
    ("upper_n", "expected"),
    [(None, set()), (2000.0, set()), (2900.0, {("leg-room", False)}), (6e3, {("no-room", True)})],
)
def test_the_legs_have_room_together(upper_n, expected):
    """The left leg has 2750 N left, the right one 2.7 V at 1000 N/V."""
    health = replace(GOOD, span_n=2750.0)
    found = channel_findings(BOARD, health, CHANNELS, upper_n)
    assert {(one.code, one.refuses) for one in found} == expected


def test_the_supply_is_judged_by_its_tolerance():
    board = replace(BOARD, channels=("force", "excitation"))
    channels = (CHANNELS[0], Channel("excitation", ExcitationMonitor(2.0, 5.0)))
    seen = replace(HEALTH, channels_v=(0.45, 2.49), channels_noise_v=(0.002, 0.001))
    assert codes(seen, channels, board) == set()
    low = replace(seen, channels_v=(0.45, 2.46))
    assert codes(low, channels, board) == {("excitation-off", False)}
