"""Guards of the command line: no option leads around them, and nothing absurd comes in.

Only commands are called here, as a user would. No board answers at the port: a drop that is
not refused ends with a word about the port.
"""

import io
import json
import re

import pytest
from command_line import said
from kites import DATED, NO_BOARD, PULLED, STIFF, add, change, kite_in, refusal, table
from rehearsed import played

from tautlog.cli import run
from tautlog.rehearsal.process import BoardProcess


@pytest.fixture
def kite(tmp_path, monkeypatch):
    return kite_in(tmp_path, monkeypatch)


# The gate


def test_a_drop_as_planned_is_let_through(kite, capsys):
    assert refusal(capsys) == ""


def test_the_line_that_is_named_is_the_one_that_counts(kite, capsys):
    """400 kN/m, 9 kg, 1.2 m: planned for 11 kN on a mount good for 2.4 kN."""
    add(kite, STIFF)
    _, out, _ = said(capsys, "plan", "--line", "stiff", "--json")
    high = json.loads(out)["peak_high_n"]
    assert high == pytest.approx(11_418, abs=1)
    for more in ([], ["--limit", "9000", "--target", "8000"], ["--out", "elsewhere"]):
        told = refusal(capsys, "--line", "stiff", *more)
        assert f"{high:.0f} N is planned (the upper end of the prediction)" in told
        assert "good for peaks up to 2400 N" in told


@pytest.mark.parametrize(
    ("given", "word"),
    [
        (("--mass", "20"), "good for peaks up to 2400 N"),
        (("--mass", "20"), "catch: 530 J"),
        (("--height", "2.4"), "rails: 2.400 m free"),
        (("--line", "nobody's"), "the peak cannot be predicted"),
        (("--article", "bridel-1"), "did you mean 'bridle-1'"),
        (("--mount", "beam1"), "did you mean 'beam-1'"),
    ],
)
def test_what_is_dropped_is_what_the_gate_reckons_with(kite, capsys, given, word):
    assert word in refusal(capsys, *given)


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ("catch_energy_j = 300.0", "catch_energy_j = 200.0", "catch: 238 J"),
        ("most_mass_kg = 25.0", "most_mass_kg = 8.0", "sled: 9.00 kg of 8.00 kg"),
        ("rails_m = 2.6", "rails_m = 1.3", "rails: 1.200 m free"),
        ("rated_n = 5000.0", "rated_n = 2000.0", "cell: "),
        ("rail_high_v = 3.2", "rail_high_v = 2.0", "amplifier: "),
        ("mass_kg = 9.0", "# mass_kg = 9.0", "the mass is not known"),
        ("height_m = 1.2", "# height_m = 1.2", "the height is not known"),
        ("stiffness_n_per_m = 21000.0", "# no stiffness", "its stiffness is not known"),
        ('name = "beam-1"', 'name = "another"', "no proof pull of the mount another"),
        ("good_for_drops = 10", "good_for_drops = 1", ""),
        ("gain = 500.0", "gain = 50.0", "calibration: its slope is 1000 N/V"),
        ("newton_per_volt = 1000.0", "newton_per_volt = 1.0", "0.001 times as much"),
    ],
)
def test_limits_that_the_campaign_states_refuse(kite, capsys, old, new, word):
    change(kite, old, new)
    told = refusal(capsys)
    assert (word in told) if word else (told == "")


def test_an_element_that_is_too_weak_refuses(kite, capsys):
    screws = '\n[[element]]\nname = "screws"\nstrength_n = 3000.0\nfactor = 2.0\npart = "mount"\n'
    add(kite, screws)
    assert "screws (mount): 1500 N allowed" in refusal(capsys)


def test_without_facts_a_named_person_may_override_and_a_guess_is_not_made(kite, capsys):
    told = refusal(capsys, "--line", "nobody's", "--target", "400", "--limit", "500")
    assert "--override-by" in told
    more = ["--override-by", "R. Lead", "--override-reason", "steel link, weighed"]
    assert refusal(capsys, "--line", "nobody's", *more) == ""


def test_two_mounts_one_must_be_named_and_each_is_counted(kite, capsys):
    add(kite, '\n[[mount]]\nname = "beam-2"\ngood_for_drops = 1\n')
    assert "name the mount with --mount" in refusal(capsys)
    more = ["--override-by", "L", "--override-reason", "r"]
    assert "nobody may override" in refusal(capsys, *more)
    assert refusal(capsys, "--mount", "beam-1") == ""
    assert "the mount beam-2" in refusal(capsys, "--mount", "beam-2")
    assert said(capsys, "proof", "--pulled", "3000", *PULLED)[0] == 2
    assert run(["proof", "--mount", "beam-2", "--pulled", "3000", *PULLED]) == 0
    assert refusal(capsys, "--mount", "beam-2") == ""
    run(["ledger", "--add", "--mount", "beam-2", "--by", "A"])
    assert "has seen 1 drops since its proof" in refusal(capsys, "--mount", "beam-2")
    assert refusal(capsys, "--mount", "beam-1") == ""


def test_without_a_campaign_it_is_said_that_nothing_is_checked(tmp_path, monkeypatch, capsys):
    """Once a board answers; at the prompt nobody types the phrase."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    with BoardProcess(played(None), speed=4.0) as board:
        port = ("--port", board.url, "--link-timeout", "6")
        status, _, err = said(capsys, "drop", *port, "--mass", "9")
    assert status == 1
    assert "NOT CHECKED: there is no campaign.toml here" in err


def test_check_tells_what_the_drop_will_refuse(kite, capsys, monkeypatch):
    add(kite, STIFF)
    monkeypatch.setattr("sys.stdin", io.StringIO("y\n" * 10))
    _, _, err = said(capsys, "check", "--by", "A", "--with", "B", "--line", "stiff")
    assert "REFUSE beam-1 is proven to 3000 N" in err
    assert "good for peaks up to 2400 N" in err.strip().splitlines()[-1]


# Proofs


@pytest.mark.parametrize(
    ("given", "word"),
    [
        (("--held", "70", "--deflection", "1.6", "--set", "1.5"), "it yields"),
        (("--held", "70", "--set", "1.5"), "1.50 mm stayed"),
        (("--held", "20"), "held for 20 s"),
    ],
)
def test_a_failed_proof_forbids_until_a_newer_one_is_good(kite, capsys, given, word):
    assert run(["proof", "--pulled", "9000", "--by", "A", *given]) == 0
    told = refusal(capsys)
    assert word in told
    more = ["--override-by", "L", "--override-reason", "r"]
    assert word in refusal(capsys, *more)
    assert run(["proof", "--pulled", "3000", *PULLED]) == 0
    assert refusal(capsys) == ""


def test_a_mount_that_gives_more_than_it_may_has_failed(kite, capsys):
    change(kite, "# most_deflection_m = 0.002", "most_deflection_m = 0.001")
    run(["proof", "--pulled", "3000", *PULLED])
    assert "it deflected 1.50 mm, at most 1.00 mm is allowed" in refusal(capsys)


def test_no_proof_asks_for_a_named_override(kite, capsys):
    (kite / "proofs.jsonl").unlink()
    assert "no proof pull of the mount beam-1 is on record" in refusal(capsys)
    more = ["--override-by", "L", "--override-reason", "dummy article"]
    assert refusal(capsys, *more) == ""
    assert said(capsys, "drop", *NO_BOARD, "--override-by", "L")[0] == 2


@pytest.mark.parametrize(
    "line",
    [
        '{"utc": "2026-01-01T00:00:00Z", "by": "A", "mount": "beam-1", "pulled_n": Infinity, '
        '"held_s": 70}',
        '{"utc": "2026-01-01T00:00:00Z", "by": "A", "mount": "beam-1", "pulled_n": 3e6, '
        '"held_s": 70}',
        '{"utc": "2026-01-01T00:00:00Z", "by": "A", "mount": "beam-1", "pulled_n": 3000, '
        '"held_s": NaN}',
        '{"utc": "2026-01-01T00:00:00Z", "by": "A", "mount": "beam-1", "pulled_n": "3000", '
        '"held_s": 70}',
        '{"utc": "2026-01-',
    ],
)
def test_a_proof_that_cannot_be_read_forbids_and_can_be_corrected(kite, capsys, line):
    path = kite / "proofs.jsonl"
    path.write_text(path.read_text() + line + "\n")
    assert "line 2 is not a valid proof" in refusal(capsys)
    assert said(capsys, "list")[0] == 0
    more = ["--supersedes", "2", "--reason", "typed wrongly"]
    assert run(["proof", "--pulled", "3000", *PULLED, *more]) == 0
    assert refusal(capsys) == ""
    assert line in path.read_text()  # nothing is erased


# Numbers

ABSURD = ["inf", "nan", "-5", "1e15", "x"]


@pytest.mark.parametrize("value", ABSURD)
@pytest.mark.parametrize(
    ("command", "option"),
    [
        (["proof", "--held", "70", "--by", "A"], "--pulled"),
        (["proof", "--pulled", "3000", "--by", "A"], "--held"),
        (["proof", "--pulled", "3000", "--held", "70", "--by", "A"], "--deflection"),
        (["proof", "--pulled", "3000", "--held", "70", "--by", "A"], "--set"),
        (["ledger", "--add", "--article", "a", "--by", "A"], "--peak-at-most"),
        (["plan"], "--mass"),
        (["plan"], "--height"),
        (["plan"], "--target"),
        (["plan"], "--limit"),
        (["plan"], "--stiffness"),
        (["plan", "--length", "1"], "--modulus"),
        (["plan", "--modulus", "30000"], "--length"),
        (["plan"], "--damping"),
        (["plan"], "--hardening"),
        (["plan"], "--friction"),
        (["plan"], "--factor"),
        (["drop", *NO_BOARD], "--mass"),
        (["drop", *NO_BOARD], "--height"),
        (["drop", *NO_BOARD], "--target"),
        (["drop", *NO_BOARD], "--limit"),
        (["fastener", "bolt"], "--diameter"),
        (["fastener", "lag-screw", "--diameter", "8", "--wood", "0.5"], "--thread"),
        (["fastener", "lag-screw", "--diameter", "8", "--thread", "50"], "--wood"),
        (["fastener", "timber-screw", "--diameter", "8", "--thread", "80"], "--density"),
        (["calibrate", "--hang"], "--mass"),
        (["calibrate"], "--shunt"),
        (["calibrate"], "--load"),
        (["calibrate"], "--gravity"),
        (["import", "x.csv", "--force-column", "a"], "--sample-rate"),
        (["drop", *NO_BOARD], "--countdown"),
        (["drop", *NO_BOARD], "--record"),
        (["drop", *NO_BOARD], "--link-timeout"),
        (["rehearse"], "--mass"),
        (["rehearse"], "--height"),
        (["rehearse"], "--target"),
        (["rehearse"], "--speed"),
        (["list"], "--peak-least"),
        (["photo", "x.h5", "y.jpg"], "--offset"),
        (["learn"], "--mass"),
        (["learn"], "--height"),
    ],
)
def test_no_option_takes_an_absurd_number(capsys, command, option, value):
    """Before anything is read: no campaign is needed."""
    status, _, err = said(capsys, *command, f"{option}={value}")
    assert status == 2
    (line,) = err.strip().splitlines()
    assert re.search(r"allowed is .* \(.*\)|is not a number", line)


@pytest.mark.parametrize(
    ("given", "hint"),
    [
        (("--height", "1200"), "is it in mm? 1200 mm are 1.2 m"),
        (("--mass", "9000"), "is it in g? 9000 g are 9 kg"),
        (("--mass", "0"), "allowed is 0.05 to 500 kg"),
        (("--target", "1.8"), "is it in kN? 1.8 kN are 1800 N"),
        (("--damping", "12"), "is it in %? 12 % are 0.12"),
    ],
)
def test_a_mistake_of_unit_is_guessed_at(kite, capsys, given, hint):
    status, _, err = said(capsys, "plan", *given)
    assert status == 2
    assert hint in err


@pytest.mark.parametrize("given", ["inf,1,12,30000", "25,1,1e9,30000", "25,1,12,nan"])
def test_a_flight_of_absurd_numbers_is_refused(kite, capsys, given):
    status, _, err = said(capsys, "plan", "--flight", given)
    assert status == 1
    assert "allowed is" in err


def test_a_pull_in_kilonewtons_or_millimetres_is_refused(kite, capsys):
    assert "is it in kN?" in said(capsys, "plan", "--pull", "0.5:0.018")[2]
    assert "is it in mm?" in said(capsys, "plan", "--pull", "500:18")[2]


# Plans


def test_a_plan_that_misses_its_target_says_so(kite, capsys):
    _, out, _ = said(capsys, "plan", "--height", "0.3")
    assert "MISSES the target of 1800 N: predicted 968 N, -46 %" in out
    assert "a height of 1.197 m or a mass of" in out
    _, out, _ = said(capsys, "plan", "--height", "0.3", "--json")
    assert json.loads(out)["misses"]["off_target"] == pytest.approx(968 / 1800 - 1, abs=1e-3)
    _, out, _ = said(capsys, "plan", "--mass", "12")
    assert "GOES BEYOND" in out
    for given in ([], ["--solve", "height"], ["--solve", "mass"]):
        _, out, _ = said(capsys, "plan", *given, "--json")
        assert json.loads(out)["misses"] is None


@pytest.mark.parametrize(
    ("given", "word"),
    [
        (("--line", "polyestr 8 mm, 1.5 m"), "did you mean 'polyester 8 mm, 1.5 m'"),
        (("--line", "polyestr 8 mm, 1.5 m", "--stiffness", "30000"), "did you mean"),
        (("--article", "bridel-1"), "did you mean 'bridle-1'"),
        (("--mount", "baem-1"), "did you mean 'beam-1'"),
    ],
)
def test_a_plan_of_unknown_names_is_refused(kite, capsys, given, word):
    status, out, err = said(capsys, "plan", *given)
    assert (status, out) == (1, "")
    assert word in err


def test_a_stiffness_that_is_given_keeps_damping_and_hardening(kite, capsys):
    told = {}
    for given in ((), ("--stiffness", "30000"), ("--stiffness", "30000", "--damping", "0.2")):
        _, out, _ = said(capsys, "plan", *given, "--json")
        one = json.loads(out)
        told[given] = (one["stiffness_n_per_m"], one["hardening_per_m2"], one["damping_ratio"])
    assert list(told.values()) == [(21e3, 4.0, 0.12), (30e3, 4.0, 0.12), (30e3, 4.0, 0.2)]
    _, out, _ = said(capsys, "plan", "--stiffness", "30000")
    assert "in place of 21000 N/m; hardening and damping from campaign.toml" in out


# Calibrations


def kept(kite):
    return sorted(one.name for one in kite.glob("calibrations/*.json"))


@pytest.mark.parametrize(
    ("load", "volt", "word"),
    [
        (1.0, 1000.0, "are they in mV?"),
        (1.0, 0.001, "steps of the converter"),
        (1000 / 9.80665, 1.0, "grams typed as newtons"),
        (1 / 9.80665, 1.0, "masses in kg typed as newtons"),
        (0.001, 1.0, "loads in kN for N"),
        (1.12, 1.0, "+12 %, 10 % is allowed"),
        (0.88, 1.0, "-12 %, 10 % is allowed"),
    ],
)
def test_a_calibration_that_is_not_plausible_is_not_kept(kite, capsys, load, volt, word):
    status, _, err = said(capsys, *table(kite, load, volt))
    assert status == 1
    assert word in err
    assert "--accept NAME REASON" in err
    assert kept(kite) == []


def test_it_is_kept_on_a_name_and_a_reason_and_then_used(kite, capsys):
    given = table(kite, 0.8)
    assert said(capsys, *given, "--accept", "R. Lead", " ")[0] == 1
    assert run([*given, "--accept", "R. Lead", "gain trimmed"]) == 0
    (name,) = kept(kite)
    told = json.loads((kite / "calibrations" / name).read_text())
    assert told["calibration"]["accepted"] == "R. Lead: gain trimmed"
    assert "-20 %" in told["doubts"][0]
    assert "calibration" not in refusal(capsys)
    # The same file, accepted by nobody: as an older version kept it.
    told["calibration"]["accepted"] = ""
    (kite / "calibrations" / name).write_text(json.dumps(told))
    assert "calibration: its slope is 800 N/V" in refusal(capsys)
    more = ["--override-by", "L", "--override-reason", "r"]
    assert "calibration: its slope is 800 N/V" in refusal(capsys, *more)


def test_without_a_data_sheet_the_one_before_and_the_target_tell(kite, capsys):
    change(kite, "gain = 500.0", "# no gain")
    assert run(table(kite)) == 0
    status, _, err = said(capsys, *table(kite, 1 / 9.80665))
    assert status == 1
    assert "the earlier calibration has 1000 N/V" in err
    change(kite, "newton_per_volt = 1000.0", "# never said")
    for one in kite.glob("calibrations/*"):
        one.unlink()
    _, _, err = said(capsys, *table(kite, 0.001))
    assert "it spans" in err


def test_a_campaign_that_states_no_calibration_does_not_arm(kite, capsys):
    change(kite, "newton_per_volt = 1000.0", "# never said")
    assert "there is no calibration" in refusal(capsys)


def test_a_typed_calibration_may_be_accepted_in_the_file(kite, capsys):
    change(kite, "newton_per_volt = 1000.0", "newton_per_volt = 1200.0")
    assert "+20 %" in refusal(capsys)
    change(kite, '# accepted = "R. Lead: shunt', 'accepted = "R. Lead: shunt')
    assert refusal(capsys) == ""
    change(kite, 'accepted = "R. Lead: shunt trimmed by hand"', 'accepted = "yes"')
    assert "+20 %" in refusal(capsys)


@pytest.mark.parametrize("day", ["01.03.2020", "2020-3-1", "20200301", "2999-01-01", "1900-01-01"])
def test_a_day_is_iso_and_not_to_come(kite, capsys, day):
    assert said(capsys, *table(kite), "--date", day)[0] == 2
    change(kite, DATED, f'\ndate = "{day}"')
    status, _, err = said(capsys, "plan")
    assert status == 1
    assert f"date = '{day}'" in err


def test_a_file_with_a_bad_day_counts_as_expired(kite, capsys):
    from tautlog.campaign.campaign import read_campaign

    run(table(kite))
    (path,) = kite.glob("calibrations/*.json")
    good = path.read_text()
    assert not read_campaign(kite).calibration.expired_on("2026-11-26")
    for day in ("01.03.2020", "2999-01-01", "soon"):
        told = json.loads(good)
        told["calibration"]["date"] = day
        path.write_text(json.dumps(told))
        assert read_campaign(kite).calibration.expired_on("2026-11-26")


def test_the_measured_zero_goes_with_a_calibration(kite):
    from tautlog.campaign.campaign import read_campaign

    assert read_campaign(kite).calibration.zero_v is None
    run(table(kite))
    assert read_campaign(kite).calibration.zero_v == pytest.approx(0.45)


# Corrections


def test_a_calibration_is_superseded_and_stays(kite, capsys):
    assert run([*table(kite, 0.8), "--accept", "A", "I am sure"]) == 0
    (wrong,) = kept(kite)
    given = [*table(kite), "--supersedes", wrong]
    assert said(capsys, *given)[0] == 2
    assert run([*given, "--by", "B", "--reason", "wrong weights"]) == 0
    assert kept(kite)[0] == wrong
    assert refusal(capsys) == ""
    _, out, _ = said(capsys, "calibrate", "--list")
    assert re.search(rf"{wrong}; SUPERSEDED by 0002.*\(B: wrong weights\)", out)
    again = [*table(kite), "--supersedes", wrong, "--by", "B", "--reason", "r"]
    assert "already superseded" in said(capsys, *again)[2]
    again[4] = "0009"
    assert "no calibration '0009' in this campaign" in said(capsys, *again)[2]


def test_a_correction_of_an_older_calibration_does_not_become_the_newest(kite):
    from tautlog.campaign.campaign import read_campaign

    run(table(kite, 1.05))
    run(table(kite, 1.02))
    first = kept(kite)[0]
    run([*table(kite, 0.98), "--supersedes", first, "--by", "B", "--reason", "r"])
    assert read_campaign(kite).calibration.newton_per_volt == pytest.approx(1020.0)


def test_a_correction_of_an_older_proof_does_not_open_over_a_newer_failure(kite, capsys):
    run(["proof", "--pulled", "3000", "--held", "10", "--by", "A"])
    more = ["--supersedes", "1", "--reason", "3.1 kN by the gauge"]
    assert run(["proof", "--pulled", "3100", *PULLED, *more]) == 0
    assert "held for 10 s" in refusal(capsys)
    _, out, _ = said(capsys, "proof", "--list")
    assert re.search(r"1 .*3000 N.*SUPERSEDED by 3", out)
    assert re.search(r"3 .*3100 N.*\(supersedes 1: 3.1 kN by the gauge\)", out)


@pytest.mark.parametrize(
    ("more", "word"),
    [
        (["--supersedes", "1", "--by", "B"], "a reason (--reason)"),
        (["--supersedes", "7", "--by", "B", "--reason", "r"], "has no entry 7"),
        (["--supersedes", "x", "--by", "B", "--reason", "r"], "not the number of an entry"),
    ],
)
def test_corrections_have_a_name_a_reason_and_something_to_correct(kite, capsys, more, word):
    run(["ledger", "--add", "--article", "a", "--by", "A"])
    status, _, err = said(capsys, "ledger", *more)
    assert status in (1, 2)
    assert word in err


def test_an_entry_of_the_ledger_is_corrected_or_taken_back(kite, capsys):
    run(["ledger", "--add", "--article", "bridle-1", "--by", "A", "--peak-at-most", "900"])
    more = ["--supersedes", "1", "--by", "B", "--reason", "it was the other one"]
    assert run(["ledger", "--article", "bridle-2", *more]) == 0
    _, out, _ = said(capsys, "ledger", "--json")
    names = {one["name"]: one["drops"] for one in json.loads(out)}
    assert names == {"bridle-2": 1, "beam-1": 1}
    more = ["--supersedes", "2", "--by", "B", "--reason", "there was no drop"]
    assert run(["ledger", *more]) == 0
    _, out, _ = said(capsys, "ledger", "--json")
    assert [one["drops"] for one in json.loads(out)] == [0]
    _, out, _ = said(capsys, "ledger", "--entries")
    assert out.count("SUPERSEDED") == 2
    assert "no such drop, by B (supersedes 2: there was no drop)" in out
