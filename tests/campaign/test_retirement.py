"""Retirement by the campaign's rules, and surroundings that were agreed."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from intended_drops import GOOD

from tautlog.archive.summary import RecordSummary
from tautlog.campaign.ledger import LedgerEntry
from tautlog.campaign.retirement import Retirement, worn_out
from tautlog.model.line import Line
from tautlog.model.surroundings import Atmosphere, Surroundings
from tautlog.planning.gate import findings, refusals

DROP = RecordSummary(
    "one.h5",
    utc="2026-03-01T10:00:00Z",
    article="a",
    line="sling 2",
    peak_force_n=1900.0,
    record_verdict="valid",
)
# ISO 139:2005: 20.0 +- 2.0 degC, 65.0 +- 4.0 % (standards.iteh.ai, overview of the standard).
ISO_139 = Atmosphere(18.0, 22.0, 61.0, 69.0, "conditioned", 1.0)
KEPT = Surroundings(20.0, 65.0, "conditioned", 0.5)


def drops(number, **changes):
    return [DROP._replace(file=f"{one}.h5", **changes) for one in range(number)]


def whys(rules, records, entries=(), lines=(), day="2026-03-02"):
    return [f"{one.kind} {one.why}" for one in worn_out(rules, records, entries, lines, day)]


def test_without_rules_nothing_retires():
    assert whys(Retirement(), drops(500)) == []


@pytest.mark.parametrize(
    ("rules", "records", "kind"),
    [
        (Retirement(line_drops=3), drops(3), "line"),
        (Retirement(line_drops=3), [*drops(2), DROP._replace(file="x.h5", problem="cut")], "line"),
        (Retirement(line_drops=3), drops(3, record_verdict="invalid"), "line"),
        (Retirement(article_drops=3), drops(3), "article"),
        (Retirement(line_peak_n=1899.0), drops(1), "line"),
        (Retirement(line_peak_n=4000.0), drops(1, peak_force_n=None), "line"),
        (Retirement(line_days=1.0), drops(1), "line"),
        (Retirement(line_days=400.0), drops(1, utc="nonsense"), "line"),
    ],
)
def test_each_rule_retires(rules, records, kind):
    (found,) = whys(rules, records)
    assert found.startswith(f"{kind} [retirement] allows")


@pytest.mark.parametrize(
    ("rules", "records"),
    [
        (Retirement(line_drops=3), drops(2)),
        (Retirement(line_drops=3), drops(9, origin="rehearsed")),
        (Retirement(line_drops=3), drops(9, released=False)),
        (Retirement(line_drops=3), drops(9, line="")),
        (Retirement(article_drops=3), drops(2)),
        (Retirement(line_peak_n=1901.0), drops(9)),
        (Retirement(line_days=2.0), drops(1)),
    ],
)
def test_below_a_rule_nothing_retires(rules, records):
    assert whys(rules, records) == []


def test_drops_by_hand_and_before_the_campaign_count():
    entry = LedgerEntry("2025-03-01T10:00:00Z", "A. Rigger", line="sling 2", peak_at_most_n=2500.0)
    rules = Retirement(line_drops=4, line_peak_n=2400.0, line_days=365.0)
    found = whys(rules, drops(1), [entry], [Line("sling 2", 2e4, drops=2)])
    assert len(found) == 3


@pytest.mark.parametrize(
    ("told", "text"),
    [
        (replace(KEPT, temperature_c=22.1), "temperature 22.1 degC: 18 to 22 degC is agreed"),
        (replace(KEPT, temperature_c=None), "temperature not stated"),
        (replace(KEPT, humidity_percent=60.9), "humidity 60.9 %"),
        (replace(KEPT, condition="wet"), "condition wet: conditioned is agreed"),
        (replace(KEPT, condition=""), "condition not stated"),
        (replace(KEPT, since_conditioning_h=1.5), "time since conditioning 1.5 h: at most 1 h"),
    ],
)
def test_a_departure_is_a_finding_and_no_refusal(told, text):
    (found,) = ISO_139.departures(told)
    assert found.startswith(text)
    intended = replace(GOOD, departures=ISO_139.departures(told))
    told_by_gate = [check for check in findings(intended) if check.code == "surroundings"]
    assert [check.refuses for check in told_by_gate] == [False]
    assert not refusals(intended)


@given(low=st.floats(-40.0, 40.0), width=st.floats(0.0, 40.0), value=st.floats(-60.0, 90.0))
def test_limits_belong_to_what_is_agreed(low, width, value):
    agreed = Atmosphere(temperature_low_c=low, temperature_high_c=low + width)
    inside = low <= value <= low + width
    assert (agreed.departures(Surroundings(value)) == ()) == inside


def test_what_was_agreed_was_kept_and_nothing_is_asked_by_default():
    assert ISO_139.departures(KEPT) == ()
    assert Atmosphere().departures(Surroundings()) == ()
