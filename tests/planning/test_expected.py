"""What a campaign's line promises of a drop, behind what was measured."""

import numpy as np
import pytest
from traces import arrest, recorded

from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.archive.assessment import Assessment
from tautlog.campaign.campaign import read_campaign
from tautlog.cli import run
from tautlog.display.pictures.drop import draw_drop
from tautlog.model.trace import DropSetup
from tautlog.planning.expected import CampaignExpectations, expected_from


@pytest.fixture
def campaign(tmp_path):
    assert run(["init", str(tmp_path / "kite")]) == 0
    return read_campaign(tmp_path / "kite")


def setup(campaign, **changes):
    given = {"mass_kg": 9.0, "height_m": 1.2, "line": campaign.lines[0].name} | changes
    return DropSetup(**given)


def test_the_band_has_the_predicted_peaks_at_its_ends(campaign):
    told = CampaignExpectations(campaign).of(setup(campaign))
    expected = expected_from(told)
    assert expected.low_n.max() == pytest.approx(told.peak_low_n, rel=1e-3)
    assert expected.high_n.max() == pytest.approx(told.peak_high_n, rel=1e-3)
    assert told.peak_low_n < told.peak_force_n < told.peak_high_n
    before = expected.since_onset_s < 0
    assert np.all(expected.high_n[before] == 0.0)


@pytest.mark.parametrize("changes", [{"mass_kg": None}, {"height_m": None}, {"line": "another"}])
def test_nothing_is_expected_of_what_is_not_known(campaign, changes):
    assert CampaignExpectations(campaign).of(setup(campaign, **changes)) is None
    assert expected_from(None) is None


def test_it_stands_behind_the_curve_and_says_what_it_is(campaign):
    trace = recorded(arrest(10.0, 1.0, 5000.0, 0.1)[1])
    given = setup(campaign)
    marks = mark(trace, given)
    one = Assessment(marks, judge(marks, given), given)
    expected = expected_from(CampaignExpectations(campaign).of(given))
    contact = draw_drop(one, "x", expected).axes[1]
    assert expected.text in [text.get_text() for text in contact.get_legend().get_texts()]
    plain = draw_drop(one, "x").axes[1]
    assert not [text for text in plain.get_legend().get_texts() if "predicted" in text.get_text()]
