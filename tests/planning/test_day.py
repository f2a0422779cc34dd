"""The day: what is open, in order, and how far an article is proven."""

from dataclasses import replace

import pytest

from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.sections import Article
from tautlog.model.calibration import Calibration
from tautlog.model.load_path import Mount
from tautlog.model.timestamp import today
from tautlog.planning.day import articles_of, open_points
from tautlog.planning.lines import remembered_records

GOOD = RecordSummary(
    "one.h5",
    utc="2026-03-01T10:00:00Z",
    status="complete",
    article="a",
    peak_force_n=1900.0,
    record_verdict="valid",
    load_verdict="on-target",
    trace_says="held",
    test_verdict="pass",
    found="intact",
)


@pytest.fixture
def campaign(tmp_path):
    used = Calibration(expanded_u_fraction=0.03, date=today())
    mounts = (Mount("beam", proven_n=3000.0),)
    articles = (Article("a"),)
    path = tmp_path / "campaign.toml"
    return Campaign(path, "kite", calibration=used, mounts=mounts, articles=articles)


def actions(campaign, *records):
    return [point.action for point in open_points(campaign, records)]


@pytest.mark.parametrize(
    ("changes", "action"),
    [
        ({"found": ""}, "Inspect the article of one"),
        ({"found": "not-inspected"}, "Inspect the article of one"),
        ({"found": "", "trace_says": "let-go"}, "Find what gave way in one"),
        ({"record_verdict": "suspect", "test_verdict": "no-verdict"}, "Explain one"),
        ({"record_verdict": "", "test_verdict": ""}, "Mark one"),
        ({}, "Decide on one"),
        ({"decided": "pass"}, "Write the report"),
        ({"decided": "fail"}, "Write the report"),
        ({"decided": "no-test"}, "Plan the next drop of a"),
        ({"origin": "rehearsed"}, "Plan the next drop of a"),
        ({"released": False, "peak_force_n": None}, "Plan the next drop of a"),
    ],
)
def test_the_first_open_point_is_what_comes_next(changes, action, campaign):
    assert actions(campaign, GOOD._replace(**changes))[0] == action


@pytest.mark.parametrize(
    ("changes", "action", "word"),
    [
        ({}, "Decide on one", "REHEARSAL: PROVEN, as proposed"),
        ({"found": ""}, "Inspect the article of one", "REHEARSAL: PROVEN, as proposed"),
        ({"decided": "pass"}, "Write the report", "REHEARSAL: PROVEN"),
        ({"decided": "no-test"}, "Plan the next drop of a", "not proven yet"),
    ],
)
def test_a_campaign_to_practise_with_goes_on_and_says_so(changes, action, word, campaign):
    practice = replace(campaign, rehearsed=True)
    drop = GOOD._replace(origin="rehearsed", **changes)
    assert actions(practice, drop)[0] == action
    assert [one.word for one in articles_of(practice, [drop])] == [word]


def test_what_stops_a_drop_comes_before_what_does_not(campaign):
    record = GOOD._replace(found="")
    broken = GOOD._replace(
        file="two.h5", found="", trace_says="slipped", utc="2026-01-01T00:00:00Z"
    )
    found = actions(campaign, broken, record)
    assert found[:2] == ["Find what gave way in two", "Inspect the article of one"]


def test_calibration_and_mount_are_open_until_they_are_good(campaign):
    fresh = replace(campaign, calibration=Calibration(), mounts=(Mount("beam"), Mount("post")))
    found = open_points(fresh, [])
    assert {one.action for one in found if one.stops} == {
        "Calibrate",
        "Prove the mount beam",
        "Prove the mount post",
    }
    assert "Go through the checklist" in [one.action for one in found]


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({}, "PROVEN, as proposed"),
        ({"decided": "pass"}, "PROVEN"),
        ({"decided": "fail"}, "FAILED"),
        ({"test_verdict": "fail"}, "FAILED, as proposed"),
        ({"decided": "no-verdict"}, "not proven yet"),
        ({"origin": "rehearsed"}, "not dropped yet"),
        ({"problem": "cannot be read"}, "not dropped yet"),
    ],
)
def test_an_article_is_proven_by_a_person(changes, word, campaign):
    (found,) = articles_of(campaign, [GOOD._replace(**changes)])
    assert found.word == word


def test_a_failure_outweighs_a_pass(campaign):
    earlier = GOOD._replace(file="two.h5", decided="fail")
    (found,) = articles_of(campaign, [earlier, GOOD._replace(decided="pass")])
    assert (found.word, found.by) == ("FAILED", earlier)


def test_records_are_read_again_once_one_has_changed(tmp_path):
    first = remembered_records(tmp_path)
    assert remembered_records(tmp_path) is first
    (tmp_path / "one.h5").write_bytes(b"nothing")
    second = remembered_records(tmp_path)
    assert [name for name, _ in second.problems] == ["one.h5"]
    (tmp_path / "ledger.jsonl").write_text("")
    assert remembered_records(tmp_path) is not second
