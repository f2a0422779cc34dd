"""The campaign's steps: which comes next, and what must be true before it."""

from dataclasses import replace

import pytest
from brought_up import bring_up
from kites import add, kite_in

from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.qualification import Qualification
from tautlog.campaign.sections import Article
from tautlog.cli import run
from tautlog.drop.granting import permitted
from tautlog.model.timestamp import today
from tautlog.planning.sequence import DONE, FAILED, NEXT, course_of

GOOD = RecordSummary(
    "one.h5",
    utc="2026-03-01T10:00:00Z",
    status="complete",
    article="a0",
    line="polyester 8 mm, 1.5 m",
    target_n=1800.0,
    peak_force_n=1890.0,
    peak_force_expanded_u_n=40.0,
    record_verdict="valid",
    load_verdict="on-target",
    trace_says="held",
    test_verdict="pass",
    found="intact",
    decided="pass",
    decided_by="A. Rigger",
)
# The steps below the full load of the example's aim, on one article, one after the other.
CLIMBED = [
    GOOD._replace(
        file=f"{peak_n:.0f}.h5",
        utc=f"2026-02-0{day}T10:00:00Z",
        peak_force_n=peak_n,
        load_verdict="under",
        test_verdict="no-test",
        decided="no-test",
    )
    for day, peak_n in enumerate((480.0, 950.0, 1420.0, 1710.0), start=1)
]
CHAIN, MOUNTS, LADDER, FULL, FAILURE = (
    "make the measuring chain ready",
    "pull the mounts to their proof",
    "climb the ladder below the full load",
    "qualify at the full load",
    "load articles until they break",
)


@pytest.fixture
def kite(tmp_path):
    """The example's campaign, with three articles; nothing is ready."""
    assert run(["init", str(tmp_path / "kite")]) == 0
    one = read_campaign(tmp_path / "kite", to_drop=False)
    articles = tuple(Article(f"a{number}", version="A") for number in range(3))
    return replace(one, articles=articles)


@pytest.fixture
def ready(kite):
    """The same, calibrated, brought up and with a proven mount."""
    bring_up(kite.folder)
    calibration = replace(kite.calibration, date=today(), accepted="A. Rigger: known cell")
    mounts = tuple(replace(one, proven_n=3000.0, proven_on=today()) for one in kite.mounts)
    return replace(kite, calibration=calibration, mounts=mounts)


def asking(campaign, **changes):
    asked = Qualification(reliability=0.5, confidence=0.75, articles=2, **changes)
    return replace(campaign, qualification=asked)


def names(course):
    return [(one.name, course.state(one)) for one in course.stages]


def test_a_new_campaign_begins_with_its_chain(kite):
    course = course_of(kite, [])
    assert course.next.name == CHAIN
    assert any("calibrat" in text for text in course.next.needs)
    assert any("wiring" in text for text in course.next.needs)
    assert [name for name, _ in names(course)] == [CHAIN, MOUNTS, LADDER, FULL]


def test_then_comes_the_mount_then_the_ladder(ready):
    bare = replace(ready, mounts=tuple(replace(one, proven_n=0.0) for one in ready.mounts))
    assert course_of(bare, []).next.name == MOUNTS
    none = course_of(replace(ready, mounts=()), [])
    assert (none.next.name, "no [[mount]]" in none.next.needs[0]) == (MOUNTS, True)
    assert course_of(ready, []).next.name == LADDER


def test_a_step_waits_for_the_inspection_of_the_drop_before(ready):
    light = GOOD._replace(peak_force_n=480.0, load_verdict="under", found="", decided="")
    course = course_of(ready, [light])
    assert course.next.name == LADDER
    assert "1 of 4 steps done" in course.next.text
    assert any("Inspect the article" in text for text in course.next.needs)
    torn = light._replace(trace_says="let-go")
    assert any("what gave way" in text for text in course_of(ready, [torn]).next.needs)


def test_what_the_gate_refuses_stands_in_the_way(ready):
    heavy = replace(ready, setup=replace(ready.setup, mass_kg=40.0))
    assert any("sled: 40" in text for text in course_of(heavy, []).next.needs)


def test_the_full_load_comes_after_the_ladder_and_ends_with_the_statement(ready):
    campaign = asking(ready, to_failure=1)
    course = course_of(campaign, [*CLIMBED, GOOD])
    assert course.next.name == FULL
    assert "articles that count: 1 of 2" in course.next.text
    both = [*CLIMBED, GOOD, GOOD._replace(file="two.h5", article="a1")]
    course = course_of(campaign, both)
    assert dict(names(course))[FULL] == DONE
    assert course.next.name == FAILURE
    broken = GOOD._replace(
        file="x.h5",
        article="a2",
        peak_force_n=2900.0,
        load_verdict="overload",
        trace_says="let-go",
        found="parted",
        decided="no-verdict",
    )
    assert course_of(campaign, [*both, broken]).next is None


def test_loading_to_failure_waits_for_the_qualification(ready):
    last = course_of(asking(ready, to_failure=1), [GOOD]).stages[-1]
    assert (last.name, last.needs[0]) == (FAILURE, "the qualification is not finished")


def test_a_break_ends_the_qualification(ready):
    broken = GOOD._replace(file="x.h5", article="a1", found="parted", decided="fail")
    course = course_of(asking(ready), [GOOD, broken])
    assert dict(names(course))[FULL] == FAILED


def test_without_a_statement_every_article_is_proven_by_itself(ready):
    course = course_of(ready, [*CLIMBED, GOOD])
    assert dict(names(course))[FULL] == NEXT
    three = [GOOD._replace(file=f"{n}.h5", article=f"a{n}") for n in range(3)]
    assert course_of(ready, three).next is None
    failed = [*three[:2], three[2]._replace(decided="fail")]
    assert dict(names(course_of(ready, failed)))[FULL] == FAILED


def test_a_line_that_the_rules_retire_stands_in_the_way(ready, monkeypatch):
    from tautlog.campaign.retirement import Retirement
    from tautlog.planning import intended

    monkeypatch.setattr(intended, "catalogued", lambda folder: [GOOD])
    worn = replace(ready, retirement=Retirement(line_drops=1))
    assert any("[retirement] allows 1 drops" in text for text in course_of(worn, []).next.needs)


def test_next_and_qualify_as_commands(kite, monkeypatch, capsys):
    monkeypatch.chdir(kite.folder)
    assert run(["next"]) == 0
    assert f"NEXT: {CHAIN}" in capsys.readouterr().out
    assert run(["next", "--json"]) == 0
    assert '"state": "next"' in capsys.readouterr().out
    assert run(["qualify"]) == 1
    assert "no statement is asked for" in capsys.readouterr().err
    assert run(["qualify", "--reliability", "0.9"]) == 2
    assert "need --plan" in capsys.readouterr().err
    assert run(["qualify", "--plan", "--reliability", "0.9", "--confidence", "0.9"]) == 0
    assert capsys.readouterr().out.startswith("22 articles")
    path = kite.folder / "campaign.toml"
    text = path.read_text() + "\n[qualification]\nreliability = 0.9\nconfidence = 0.9\n"
    path.write_text(text)
    assert run(["qualify"]) == 0
    assert capsys.readouterr().out.startswith("NOTHING STATED: It cannot be stated that at least")
    assert run(["qualify", "--json"]) == 0
    assert '"made": false' in capsys.readouterr().out
    path.write_text(text + "failures_allowed = 5\narticles = 5\n")
    assert run(["qualify"]) == 1
    assert "failures_allowed = 5: allowed is a number < articles" in capsys.readouterr().err


def test_surroundings_go_into_the_record_and_the_plan_asks_for_them(kite, monkeypatch, capsys):
    from tautlog.archive.catalogue import catalogued

    monkeypatch.chdir(kite.folder)
    (kite.folder / "trace.csv").write_text(
        "t,f\n" + "".join(f"{n / 1000},{100 if 200 < n < 230 else 0}\n" for n in range(1000))
    )
    given = ["--temperature", "-5.5", "--humidity", "40", "--condition", "wet"]
    command = ["import", "trace.csv", "--force-column", "f", "--time-column", "t", *given]
    assert run([*command, "--since-conditioning", "0.5"]) == 0
    (record,) = catalogued(kite.folder)
    assert (
        record.surroundings.text
        == "-5.5 degC, 40 % relative humidity, wet, 0.5 h since conditioning"
    )
    assert run([*command, "--temperature", "400"]) == 2
    assert "degC" in capsys.readouterr().err


def test_departures_are_said_before_the_drop(tmp_path, monkeypatch):
    kite = kite_in(tmp_path, monkeypatch)
    add(kite, "\n[atmosphere]\ntemperature_high_c = 22.0\n")
    campaign, said = read_campaign(kite), []
    told = replace(campaign.setup, temperature_c=30.0)
    assert permitted(campaign, told, say=said.append).setup.temperature_c == 30.0
    assert any(text.startswith("LOOK: surroundings: temperature 30 degC") for text in said)


def test_a_full_load_drop_that_was_not_climbed_to_climbs_nothing(ready):
    stage = course_of(ready, [GOOD]).next
    assert stage.name == LADDER
    assert "0 of 4 steps done" in stage.text
    assert "missing: 25 %, 50 %, 75 %, 90 %" in stage.text
    left_out = [*CLIMBED[:1], *CLIMBED[2:]]
    text = course_of(ready, left_out).next.text
    assert "1 of 4 steps done; then 50 %" in text
    assert "missing: 50 %, 75 %, 90 %" in text


def test_steps_are_climbed_from_the_lowest_up(ready):
    for done in range(len(CLIMBED)):
        assert f"{done} of 4 steps done" in course_of(ready, CLIMBED[:done]).next.text
    stages = {one.name: one for one in course_of(ready, CLIMBED).stages}
    assert stages[LADDER].done
    downward = [
        one._replace(utc=f"2026-02-0{day}T10:00:00Z")
        for day, one in enumerate(reversed(CLIMBED), start=1)
    ]
    assert "1 of 4 steps done" in course_of(ready, downward).next.text


def test_once_the_full_load_is_answered_the_missing_steps_are_told_and_not_asked_for(ready):
    three = [GOOD._replace(file=f"{n}.h5", article=f"a{n}") for n in range(3)]
    course = course_of(ready, three)
    stage = next(one for one in course.stages if one.name == LADDER)
    assert course.next is None
    assert "0 of 4 steps done" in stage.text
    assert "answered without it" in stage.text
