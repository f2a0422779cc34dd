"""Learning, ledger, checklist and permits: what the last drops say of the next."""

import dataclasses
import json
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from brought_up import bring_up

from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.archive.assessment import Assessment
from tautlog.archive.kept_marks import marks_from, marks_in
from tautlog.archive.summary import RecordSummary
from tautlog.campaign.checklist import GOOD_FOR_S, Checklist, add_checklist, fresh_checklist
from tautlog.campaign.ledger import LedgerEntry, add_entry, exposures, read_entries, rehearsals
from tautlog.cli import run
from tautlog.errors import CampaignError, PlanError
from tautlog.mechanics.motion import fall
from tautlog.mechanics.rig_model import RigModel
from tautlog.model.line import Line
from tautlog.model.load_path import PathCheck
from tautlog.model.timestamp import stamp, today
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.model.trace import DropSetup, Trace
from tautlog.planning.learning import Lesson, advice, learn, lesson_of
from tautlog.planning.planned_drop import PlannedDrop
from tautlog.planning.prediction import predict_drop

RATE_HZ = 20_000.0


def dropped(model, rng, number, gain=1.0, delay_s=0.0):
    """One simulated drop of a line, marked and judged, as a lesson."""
    time_s = np.arange(int(4.0 * RATE_HZ)) / RATE_HZ - 0.4 - delay_s
    force_n = gain * fall(model, duration_s=3.7).force_n(time_s)
    force_n = force_n + rng.normal(0.0, 5e-4 * force_n.max(), force_n.size)
    setup = DropSetup(
        mass_kg=model.mass_kg * (1 + rng.normal(0, 0.002)),
        height_m=model.height_m + rng.normal(0, 0.003),
        target_n=0.9 * float(force_n.max()),
    )
    trace = Trace(force_n, RATE_HZ, release_time_s=0.4, calibration_u_fraction=0.02)
    marks = mark(trace, setup, cfc=600)
    kept = marks_from(Assessment(marks, judge(marks, setup), setup))
    return lesson_of(f"drop {number}", setup.mass_kg, setup.height_m, kept, number)


def campaign(seed, drops=3):
    """Drops of one line at growing heights, and what the next one really does."""
    rng = np.random.default_rng([seed, 77])
    mass = rng.uniform(4, 25)
    model = RigModel(
        mass_kg=mass,
        height_m=1.0,
        stiffness_n_per_m=float(np.exp(rng.uniform(np.log(6e3), np.log(1e5)))),
        hardening_per_m2=rng.uniform(0, 6),
        damping_ratio=rng.uniform(0.04, 0.15),
        uptake_m=0.003,
        friction_n=rng.uniform(0.01, 0.06) * mass * G,
    )
    gain = 1 + rng.normal(0, 0.01)
    heights = np.linspace(0.4, 1.2, drops)
    lessons = [
        dropped(dataclasses.replace(model, height_m=float(one)), rng, number + 2, gain)
        for number, one in enumerate(heights)
    ]
    last = dataclasses.replace(model, height_m=1.5)
    truth = gain * fall(last, duration_s=1.5).truth().peak_force_n
    return model, gain, [one for one in lessons if isinstance(one, Lesson)], truth


def following_of(learned, model):
    """The next drop as plan and gate reckon with it."""
    return predict_drop(PlannedDrop(model.mass_kg, 1.5, learned.line, learned.friction_n))


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.rows(2)
def test_three_drops_tell_the_line(seed):
    model, gain, lessons, truth = campaign(seed)
    assert len(lessons) == 3
    learned = learn("x", lessons, [], 5)
    # The cell's own gain is in every stiffness that it measures.
    assert learned.line.stiffness_n_per_m == pytest.approx(gain * model.stiffness_n_per_m, rel=0.03)
    following = following_of(learned, model)
    assert following.peak_low_n <= truth <= following.peak_high_n
    assert following.peak_high_n / following.peak_low_n < 1.15
    assert advice(learned)[0]


@pytest.mark.long
def test_five_hundred_campaigns():
    """The next peak lies in its stated band in 95 % and more; stiffness within 3 %."""
    inside, close, total = 0, 0, 0
    for seed in range(500):
        model, gain, lessons, truth = campaign(seed)
        if len(lessons) < 3:
            continue
        learned = learn("x", lessons, [], 5)
        following = following_of(learned, model)
        total += 1
        inside += following.peak_low_n <= truth <= following.peak_high_n
        close += abs(learned.line.stiffness_n_per_m / (gain * model.stiffness_n_per_m) - 1) < 0.03
    told = f"{total} campaigns: in the band {inside}, stiffness within 3 % {close}"
    assert total > 450, told
    assert inside >= 0.95 * total, told
    assert close >= 0.95 * total, told


def test_fall_times_at_several_heights_tell_delay_from_friction():
    """T = t0 + sqrt(2 h / (g - f / m)): 20 ms and 5 % go in and come out."""
    slope = np.sqrt(1.0 / (0.95 * G))
    lessons = [
        Lesson("x", 10.0, h, 1000.0, 2e4, 0.0, 0.1, None, 0.02 + slope * np.sqrt(2 * h), 3)
        for h in (0.3, 0.7, 1.2)
    ]
    learned = learn("x", lessons, [], 3)
    assert learned.delay_s == pytest.approx(0.020, abs=1e-6)
    assert learned.friction_n == pytest.approx(0.05 * 10.0 * G, rel=1e-4)


GOOD = {
    "record_verdict": "valid",
    "trace_says": "held",
    "peak_force_n": 1900.0,
    "line_stiffness_n_per_m": 21e3,
}


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"record_verdict": "invalid"}, "invalid"),
        ({"trace_says": "let-go"}, "let-go"),
        ({"line_stiffness_n_per_m": None}, "no stiffness"),
        ({"clipped": True}, "lower bound"),
    ],
)
def test_what_is_not_learned_from(changes, word):
    assert word in lesson_of("x", 9.0, 1.2, marks_in(GOOD | changes), 0)
    assert isinstance(lesson_of("x", 9.0, 1.2, marks_in(GOOD), 0), Lesson)
    assert lesson_of("x", None, 1.2, marks_in(GOOD), 0) == "no mass or height"
    assert lesson_of("x", 9.0, 1.2, marks_in({}), 0) == "not marked yet"


def test_nothing_to_learn_from():
    with pytest.raises(PlanError, match="no valid drop that held"):
        learn("x", [], [("a.h5", "record invalid")], 1)


def test_a_surprise_stops_the_ladder():
    line = Line("x", 2e4)
    peaks = [predict_drop(PlannedDrop(9.0, h, line, 0.0)).peak_force_n for h in (0.5, 0.8, 1.0)]
    lessons = [
        Lesson("x", 9.0, h, peak * factor, 2e4, 0.0, 0.0, 0.0, None, number)
        for number, (h, peak, factor) in enumerate(
            zip((0.5, 0.8, 1.0), peaks, (1.0, 1.0, 1.3), strict=True), start=2
        )
    ]
    go, why = advice(learn("x", lessons, [], 5))
    assert not go
    assert "1.30 of the prediction" in why
    assert not advice(learn("x", lessons[:2], [("b.h5", "load path let-go")], 5))[0]


def test_a_new_line_may_stiffen():
    peak = predict_drop(PlannedDrop(9.0, 1.0, Line("x", 2e4), 0.0)).peak_force_n
    lesson = Lesson("x", 9.0, 1.0, peak, 2e4, 0.0, 0.0, 0.0, None, 0)
    learned = learn("x", [lesson], [], 1)
    assert learned.line.may_stiffen == pytest.approx(0.15)
    assert "bedding in" in advice(learned)[1]


# Ledger


def summary(**changes):
    base = RecordSummary(
        "x.h5",
        utc="2026-03-02T10:00:00Z",
        status="complete",
        article="a",
        line="l",
        peak_force_n=1000.0,
        record_verdict="valid",
    )
    return base._replace(**changes)


def told(records, by_hand=(), mounts=()):
    found = exposures(list(records), list(by_hand), list(mounts))
    return {(one.kind, one.name): one for one in found}


def test_every_drop_counts():
    records = [
        summary(),
        summary(record_verdict="invalid", peak_force_n=1500.0),
        summary(article="b", peak_force_n=None),
        summary(status="aborted", released=False),
        summary(status="aborted", article="c", peak_force_n=700.0),
    ]
    by_hand = LedgerEntry("2026-03-05T00:00:00Z", "me", article="a", peak_at_most_n=2000.0)
    found = told(records, [by_hand], [("m", "2026-03-03")])
    article = found["article", "a"]
    assert (article.drops, article.recorded, article.entered, article.invalid) == (3, 2, 1, 1)
    assert article.highest_n == 2000.0
    assert found["line", "l"].drops == 4
    assert found["article", "c"].highest_n == 700.0  # aborted after its release: it counts
    assert found["mount", "m"].drops == 1  # since its proof


def test_a_file_that_cannot_be_read_is_one_exposure_of_unknown_size(tmp_path):
    lost = RecordSummary(str(tmp_path / "lost.h5"), problem="is damaged")
    (tmp_path / "lost.h5").write_bytes(b"x")
    found = told([summary(), lost], mounts=[("m", "2026-03-01"), ("new", "2999-01-01")])
    assert found["file", "lost.h5"].drops == found["file", "lost.h5"].invalid == 1
    assert (found["mount", "m"].drops, found["mount", "m"].unreadable) == (2, 1)
    assert found["mount", "new"].drops == 0  # proven after it was last written
    assert (found["article", "a"].drops, found["article", "a"].unreadable) == (1, 1)


def test_drops_count_for_the_mount_that_they_name_and_for_all_if_they_name_none():
    records = [summary(mount="m"), summary(mount="other"), summary()]
    found = told(records, mounts=[("m", "")])
    assert found["mount", "m"].drops == 2
    assert found["mount", "other"].drops == 2  # of which campaign.toml knows nothing


def test_neither_a_rehearsal_nor_a_copy_ages_anything():
    one = summary(record_id="1", seal="s", seal_now="s")
    played = summary(origin="rehearsed", record_id="2")
    changed = played._replace(record_id="3", differs="identity, time or campaign of the record")
    found = told([one, one, played, changed], mounts=[("m", "")])
    assert found["article", "a"].drops == found["mount", "m"].drops == 2  # one, and changed
    (article, line) = rehearsals([one, played])
    assert (article.kind, article.name, article.drops) == ("REHEARSAL article", "a", 1)
    assert line.kind == "REHEARSAL line"


def test_what_names_no_article_is_told_too():
    assert told([summary(article="")])["article", ""].drops == 1


def test_entries_are_added_and_read_back(tmp_path):
    hostile = 'x"}\n{"by": "<b>'
    add_entry(tmp_path, LedgerEntry(stamp(), "me", article="a", note=hostile))
    add_entry(tmp_path, LedgerEntry(stamp(), "you", line="l", peak_at_most_n=50.0))
    first, second = read_entries(tmp_path)
    assert first.note == hostile
    assert second.peak_at_most_n == 50.0
    with pytest.raises(CampaignError, match="must name an article"):
        add_entry(tmp_path, LedgerEntry(stamp(), "me"))
    (tmp_path / "ledger.jsonl").write_text("{}\n{\n")
    with pytest.raises(CampaignError, match="line 1"):
        read_entries(tmp_path)


# Checklist and permit


@pytest.fixture
def kite(tmp_path, monkeypatch):
    assert run(["init", str(tmp_path / "kite")]) == 0
    monkeypatch.chdir(tmp_path / "kite")
    change(tmp_path / "kite", '\ndate = ""', f'\ndate = "{today()}"')
    bring_up(tmp_path / "kite")
    return tmp_path / "kite"


def complete(age_s=0.0):
    made = datetime.now(UTC) - timedelta(seconds=age_s)
    return Checklist(
        f"{made:%Y-%m-%dT%H:%M:%SZ}",
        "A",
        "B",
        (PathCheck("storage", True, "enough"),),
        (("zone clear", True),),
    )


def test_a_list_expires(tmp_path):
    assert fresh_checklist(tmp_path) is None
    add_checklist(tmp_path, complete())
    found = fresh_checklist(tmp_path)
    assert found is not None
    assert json.loads(found.text())["second"] == "B"
    later = datetime.now(UTC) + timedelta(seconds=GOOD_FOR_S + 5)
    assert fresh_checklist(tmp_path, later) is None


def test_an_open_point_makes_no_list(tmp_path):
    add_checklist(tmp_path, dataclasses.replace(complete(), answered=(("zone clear", False),)))
    assert fresh_checklist(tmp_path) is None
    (tmp_path / "checklists" / "9999.json").write_text("{")
    assert fresh_checklist(tmp_path) is None


def test_a_list_is_gone_through_by_two(kite, capsys, monkeypatch):
    import io

    monkeypatch.setattr("sys.stdin", io.StringIO("y\n" * 10))
    assert run(["check", "--by", "A", "--with", "B"]) == 1  # no board was read
    assert "no board was read" in capsys.readouterr().err
    assert run(["check", "--by", "A", "--with", " a "]) == 2
    assert fresh_checklist(kite) is None


def test_a_measured_fault_ends_a_list_before_the_questions(kite, capsys, monkeypatch):
    import io

    add_checklist(kite, complete())
    assert fresh_checklist(kite) is not None
    nobody = io.StringIO("y\n" * 10)
    monkeypatch.setattr("sys.stdin", nobody)
    assert run(["check", "--by", "A", "--with", "B"]) == 1
    assert "come once this is mended" in capsys.readouterr().err
    assert nobody.tell() == 0  # nothing was asked
    assert fresh_checklist(kite) is None  # and the earlier list no longer counts


def permit(kite, **more):
    from tautlog.cli.console import ConsoleCrew
    from tautlog.cli.drop_permit import permitted
    from tautlog.cli.options import here

    given = {"override_by": None, "override_reason": None} | more
    campaign = here()
    return permitted(campaign, campaign.setup, crew=ConsoleCrew(yes=True, quiet=True), **given)


def change(kite, old, new):
    path = kite / "campaign.toml"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))


def test_a_drop_above_the_proof_is_refused_and_an_override_is_kept(kite):
    from tautlog.errors import RefusedError

    with pytest.raises(RefusedError, match="no proof pull of the mount beam-1 is on record"):
        permit(kite)
    change(kite, "proven_n = 0.0", "proven_n = 2000.0")
    with pytest.raises(RefusedError, match="its day is not stated"):
        permit(kite)
    change(kite, 'proven_on = ""', 'proven_on = "2026-03-01"')
    with pytest.raises(RefusedError, match="good for peaks up to 1600 N"):
        permit(kite)
    told = json.loads(permit(kite, override_by="R. Lead", override_reason="seen").setup.override)
    assert (told["by"], told["reason"]) == ("R. Lead", "seen")
    assert "1600 N" in told["refused"]
    change(kite, "proven_n = 2000.0", "proven_n = 4000.0")
    assert permit(kite).setup.override == ""


def test_a_required_list_is_required(kite):
    from tautlog.errors import RefusedError

    change(kite, 'checklist = "advised"', 'checklist = "required"')
    change(kite, "proven_n = 0.0", "proven_n = 4000.0")
    change(kite, 'proven_on = ""', 'proven_on = "2026-03-01"')
    with pytest.raises(RefusedError, match="no fresh checklist"):
        permit(kite)
    add_checklist(kite, complete())
    assert json.loads(permit(kite).setup.checklist)["operator"] == "A"


def test_learn_and_ledger_in_an_empty_folder(kite, capsys):
    assert run(["learn"]) == 1
    assert "nothing to learn" in capsys.readouterr().err
    assert run(["ledger", "--json"]) == 0
    (mount,) = json.loads(capsys.readouterr().out)
    assert (mount["kind"], mount["drops"]) == ("mount", 0)
    assert run(["ledger", "--add", "--article", "a"]) == 2
    assert run(["ledger", "--add", "--article", "a", "--by", "me", "--peak-at-most", "900"]) == 0
    assert "900" in capsys.readouterr().out


def two_drops(friction_n):
    """A drop whose fall time tells the friction, and one without a release, as from an import."""
    model = RigModel(
        mass_kg=9.0,
        height_m=0.6,
        stiffness_n_per_m=20_800.0,
        damping_ratio=0.05,
        friction_n=friction_n,
    )
    found = []
    for height_m, release in ((0.6, True), (1.2, False)):
        one = dataclasses.replace(model, height_m=height_m)
        found.append(lesson_without(one, len(found), release=release))
    return found


def lesson_without(model, number, *, release):
    """The lesson of a drop, with the time of its release or without."""
    duration_s = 5.0
    time_s = np.arange(int(duration_s * 20_000.0)) / 20_000.0
    force_n = fall(model, duration_s=duration_s).force_n(time_s)
    whole = np.concatenate([np.zeros(8000), force_n])
    whole = whole + np.random.default_rng(1).normal(0.0, 0.5, whole.size) + 40.0
    trace = Trace(whole, 20_000.0, release_time_s=0.4 if release else None, quantum_n=0.1)
    setup = DropSetup(mass_kg=model.mass_kg, height_m=model.height_m, target_n=1800.0)
    marks = mark(trace, setup)
    kept = {name: getattr(marks, name) for name in KEPT}
    told = marks_in({"record_verdict": "valid", "trace_says": "held", **kept})
    return lesson_of("x", model.mass_kg, model.height_m, told, number)


KEPT = (
    *("peak_force_n", "line_stiffness_n_per_m", "hardening_per_m2", "damping_ratio"),
    *("friction_n", "fall_time_s", "taut_speed_m_s"),
)


def test_friction_that_is_in_the_damping_is_not_taken_once_more():
    """Found by an attack: 1865 N was told to have been predicted of a drop that gave 1892 N."""
    lessons = two_drops(5.0)
    learned = learn("x", lessons, [], 7)
    assert learned.friction_n == pytest.approx(5.0, abs=2.5)
    assert lessons[1].friction_n is None
    assert learned.ratios == pytest.approx([1.0, 1.0], abs=0.01)  # 1.02 before
    again = predict_drop(PlannedDrop(9.0, 1.2, learned.line)).peak_force_n
    assert again == pytest.approx(lessons[1].peak_n, rel=0.003)
