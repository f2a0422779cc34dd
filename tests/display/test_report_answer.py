"""The answer of a report: a proposal never passes for a decision, nor a pass for a proof."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tautlog.archive.assessment import Assessment
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.sections import Article
from tautlog.display.report.answer import answer_of
from tautlog.display.report.headline_figures import COUNT, UNKNOWN, headline_figures
from tautlog.display.report.scale import LIMIT_AT, TARGET_AT, scale_of
from tautlog.display.report.sources import Source
from tautlog.model.marks import Marks
from tautlog.model.origin import IMPORTED, MEASURED, REHEARSED
from tautlog.model.surroundings import Atmosphere
from tautlog.model.trace import DropSetup
from tautlog.model.verdict import TEST_VERDICTS, Verdict
from tautlog.record import Decision

SETUP = DropSetup(mass_kg=9.0, height_m=1.2, target_n=1800.0, limit_n=1980.0, article="a")
CAMPAIGN = Campaign(Path("campaign.toml"), "kite", setup=SETUP, articles=(Article("a"),))
MARKS = Marks(
    62_500.0,
    1000,
    peak_force_n=1890.0,
    peak_force_expanded_u_n=60.0,
    target_force_n=1800.0,
    limit_force_n=1980.0,
)


class Told:
    """As much of a record as the answer asks for."""

    def __init__(self, setup, origin):
        self.setup, self.origin, self.path = setup, origin, Path("x.h5")
        self.rehearsed = origin == REHEARSED


def drop(number, proposed, decided=None, setup=SETUP, origin=MEASURED, marks=MARKS, by="R. Lead"):
    verdict = Verdict("valid", "on-target", "held", "intact", proposed, ())
    decision = Decision(1, "t", "2026-03-02T10:00:00.000Z", by, decided, proposed, "as seen")
    told = Assessment(marks, verdict, setup, origin=origin, decision=decision if decided else None)
    return Source(Told(setup, origin), told, number=number)


def kind(*drops, campaign=CAMPAIGN):
    return answer_of(drops, campaign).kind


@pytest.mark.parametrize(
    ("drops", "expected"),
    [
        ([drop(1, "pass", "pass")], "proven"),
        ([drop(1, "pass")], "proposed"),
        ([drop(1, "pending")], "open"),
        ([drop(1, "no-test")], "nothing"),
        ([drop(1, "pass", "no-verdict")], "nothing"),
        ([drop(1, "fail", "pass")], "proven"),
        ([drop(1, "pass", "pass"), drop(2, "fail")], "failed"),
        ([drop(1, "fail"), drop(2, "pass", "pass")], "failed"),
        ([drop(1, "pass", "pass"), drop(2, "no-test")], "proven"),
        ([drop(1, "pass", "pass", origin=REHEARSED)], "nothing"),
        ([drop(1, "pass", "pass", origin=IMPORTED)], "proven"),
    ],
)
def test_what_is_answered(drops, expected):
    assert kind(*drops) == expected


def test_a_pass_against_the_proposal_says_so():
    word = answer_of([drop(1, "fail", "pass")], CAMPAIGN).word
    assert "NOT AS PROPOSED" in word
    (row,) = answer_of([drop(1, "fail", "pass")], CAMPAIGN).articles
    assert row.text == "drop 1 at a target of 1800 N: PASS decided by R. Lead, FAIL proposed"


def test_a_pass_at_less_than_required_proves_nothing_of_it():
    less = replace(SETUP, target_n=900.0, limit_n=990.0)
    answer = answer_of([drop(1, "pass", "pass", setup=less)], CAMPAIGN)
    assert answer.kind == "nothing"
    assert "1800 N is required" in answer.articles[0].text
    # Without a campaign each drop states what is required.
    assert kind(drop(1, "pass", "pass", setup=less), campaign=None) == "proven"


def test_a_failure_far_above_what_is_required_does_not_speak_against_it():
    more = replace(SETUP, target_n=3000.0, limit_n=3300.0)
    above = replace(MARKS, peak_force_n=2900.0, first_damage_force_n=2800.0)
    below = replace(above, first_damage_force_n=1900.0)
    passed = drop(1, "pass", "pass")
    assert kind(passed, drop(2, "fail", setup=more, marks=above)) == "proven"
    assert kind(passed, drop(2, "fail", setup=more, marks=below)) == "failed"


def test_articles_are_answered_one_by_one():
    other = replace(SETUP, article="b")
    campaign = replace(CAMPAIGN, articles=(Article("a"), Article("c")))
    answer = answer_of([drop(1, "pass", "pass"), drop(2, "fail", "fail", setup=other)], campaign)
    assert [(row.name, row.kind) for row in answer.articles] == [
        ("a", "proven"),
        ("b", "failed"),
        ("c", "nothing"),
    ]
    assert answer.word == "1 OF 3 ARTICLES PROVEN, 1 FAILED"


def test_what_was_decided_against_the_proposal_is_not_counted_with_the_rest():
    other = replace(SETUP, article="b")
    answer = answer_of([drop(1, "pass", "pass"), drop(2, "no-test", "pass", setup=other)], CAMPAIGN)
    assert answer.word == "1 OF 2 ARTICLES PROVEN, 1 BY DECISION AGAINST THE PROPOSAL"
    assert answer.kind == "open"


def test_a_rehearsal_that_was_changed_is_not_hidden():
    changed = replace(SETUP, not_sealed="counts")
    assert kind(drop(1, "fail", setup=changed, origin=REHEARSED)) == "failed"


@given(
    st.lists(
        st.tuples(
            st.sampled_from(TEST_VERDICTS),
            st.sampled_from([None, *TEST_VERDICTS[:-1]]),
            st.sampled_from([MEASURED, REHEARSED, IMPORTED]),
            st.sampled_from([900.0, 1800.0, 2000.0]),
        ),
        max_size=6,
    )
)
def test_only_a_person_proves_and_only_by_a_real_drop_at_the_load(told):
    drops = [
        drop(n, proposed, decided, replace(SETUP, target_n=target, limit_n=None), origin)
        for n, (proposed, decided, origin, target) in enumerate(told, start=1)
    ]
    proven = answer_of(drops, CAMPAIGN).kind == "proven"
    real = [one for one in told if one[2] != REHEARSED]
    decided = any(one[1] in ("pass", "pass-overtested") and one[3] >= 1800.0 for one in real)
    failed = any((one[1] or one[0]) == "fail" for one in real)
    assert proven == (decided and not failed)


@given(
    peak=st.floats(-1e4, 1e4),
    u=st.floats(0.0, 1e3),
    target=st.floats(10.0, 1e4),
    factor=st.floats(1.01, 2.0),
)
def test_the_scale_keeps_the_order_of_target_interval_and_limit(peak, u, target, factor):
    marks = replace(
        MARKS,
        peak_force_n=peak,
        peak_force_expanded_u_n=u,
        target_force_n=target,
        limit_force_n=factor * target,
    )
    scale = scale_of(drop(1, "pass", marks=marks).drop)
    assert 0.0 <= scale.low <= scale.at <= scale.high <= 1.0
    slack = 1e-9
    assert (scale.low > TARGET_AT - slack) or peak - u < target + slack
    assert (scale.high < LIMIT_AT + slack) or peak + u > factor * target - slack
    assert scale.off == ("" if 0.0 < scale.at < 1.0 else scale.off)


@pytest.mark.parametrize("missing", ["target_force_n", "limit_force_n", "peak_force_n"])
def test_no_scale_without_its_ends(missing):
    assert scale_of(drop(1, "pass", marks=replace(MARKS, **{missing: None})).drop) is None


def test_ten_figures_in_words():
    told = headline_figures(drop(1, "pass").drop)
    assert len(told) == COUNT
    assert told[0] == ("Peak force, not filtered", "1890 +/- 60 N")
    assert {value for _, value in told[1:]} == {UNKNOWN}
    assert not any("_" in name + value for name, value in told)
    lost = headline_figures(drop(1, "fail", marks=replace(MARKS, break_force_n=1700.0)).drop)
    assert ("Force at which the load was lost", "1700 N") in lost
    known = replace(MARKS, line_stiffness_n_per_m=20_800.0, rise_time_s=0.017, impulse_ns=83.0)
    assert [value for _, value in headline_figures(drop(1, "pass", marks=known).drop)][:8] == [
        "1890 +/- 60 N",
        "17.0 ms",
        UNKNOWN,
        "83.0 N s",
        *[UNKNOWN] * 3,
        "20.8 kN/m",
    ]


def test_a_pass_outside_the_agreed_surroundings_proves_nothing_and_says_why():
    campaign = replace(CAMPAIGN, atmosphere=Atmosphere(18.0, 22.0, condition="wet"))
    hot = replace(SETUP, temperature_c=31.0, condition="wet")
    answer = answer_of([drop(1, "pass", "pass", setup=hot)], campaign)
    assert (answer.kind, answer.word) == ("nothing", "NOT PROVEN")
    assert "temperature 31 degC: 18 to 22 degC is agreed" in answer.articles[0].text
    # What nobody told is not as agreed either.
    untold = answer_of([drop(1, "pass", "pass")], campaign)
    assert "temperature not stated" in untold.articles[0].text
    assert "condition not stated: wet is agreed" in untold.articles[0].text
    agreed = replace(SETUP, temperature_c=20.0, condition="wet")
    assert kind(drop(1, "pass", "pass", setup=agreed), campaign=campaign) == "proven"
