"""Proof pulls, fasteners and the flight load on the command line."""

import json
import math

import pytest

from tautlog.campaign.proofs import Proof, add_proof, proven, read_proofs
from tautlog.cli import run
from tautlog.errors import CampaignError
from tautlog.model.load_path import Mount
from tautlog.model.timestamp import stamp


@pytest.fixture
def kite(tmp_path, monkeypatch):
    assert run(["init", str(tmp_path / "kite")]) == 0
    monkeypatch.chdir(tmp_path / "kite")
    return tmp_path / "kite"


def test_the_newest_proof_counts(kite, capsys):
    given = ["--held", "70", "--deflection", "1.5", "--set", "0.05", "--by", "A"]
    assert run(["proof", "--pulled", "3000", *given]) == 0
    assert "good for peaks up to 2400 N" in capsys.readouterr().out
    (one,) = read_proofs(kite)
    assert one.entry.stiffness_n_per_m == pytest.approx(2e6)
    found = proven(Mount("beam-1"), [one])
    assert (found.proven_n, found.stiffness_n_per_m) == (3000.0, pytest.approx(2e6))
    assert proven(Mount("other"), [one]).proven_n == 0.0
    run(["proof", "--pulled", "1000", *given])
    assert proven(Mount("beam-1"), read_proofs(kite)).proven_n == 1000.0


@pytest.mark.parametrize(
    ("given", "word"),
    [
        (("--held", "20"), "60 s is usual"),
        (("--held", "90", "--deflection", "2", "--set", "0.5"), "it yields"),
    ],
)
def test_a_doubtful_pull_is_kept_and_proves_nothing(kite, capsys, given, word):
    assert run(["proof", "--pulled", "3000", "--by", "A", *given]) == 0
    out = capsys.readouterr().out
    assert "It FAILED" in out
    assert word in out
    found = proven(Mount("beam-1", 9000.0), read_proofs(kite))
    assert found.proven_n == 0.0
    assert word in found.failed


def test_bad_proofs(kite, tmp_path, capsys, monkeypatch):
    good = ["--pulled", "3000", "--held", "70"]
    assert run(["proof", *good, "--by", " "]) == 2
    assert run(["proof", *good, "--by", "A", "--mount", "nobody's"]) == 1
    assert "there are: 'beam-1'" in capsys.readouterr().err
    (kite / "proofs.jsonl").write_text("{}\n")
    with pytest.raises(CampaignError, match="line 1 is not a valid proof"):
        read_proofs(kite)
    monkeypatch.chdir(tmp_path)
    assert run(["proof", *good, "--by", "A"]) == 1


def test_entries_are_only_added(tmp_path):
    for number in (1, 2, 3):
        added = add_proof(tmp_path, Proof(stamp(), "A", "m", 100.0 * number, 60.0))
        assert (added.number, added.doubt) == (number, "")
    assert [one.entry.pulled_n for one in read_proofs(tmp_path)] == [100.0, 200.0, 300.0]


@pytest.mark.parametrize(
    ("given", "one_n"),
    [
        (["lag-screw", "--diameter", "12.7", "--thread", "55.5625", "--wood", "0.55"], 4247.9),
        (["wood-screw", "--diameter", "4.826", "--thread", "25.4", "--wood", "0.45"], 487.8),
        (["timber-screw", "--diameter", "8", "--thread", "64", "--density", "350"], 6735.4),
        (["bolt", "--diameter", "10"], 33_634),
        (["shackle", "--diameter", "15.9"], 10_338),
    ],
)
def test_fasteners(capsys, given, one_n):
    """The same published values as in test_loadpath, through the command."""
    assert run(["fastener", *given, "--count", "2", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["one_n"] == pytest.approx(one_n, rel=1e-3)
    # Of timber screws n**0.9 count (EN 1995-1-1, 8.7.2).
    count = 2**0.9 if given[0] == "timber-screw" else 2
    assert told["all_n"] == pytest.approx(count * told["one_n"])


MOUNT = ["lag-screw", "--diameter", "10", "--thread", "80", "--wood", "0.42", "--plate", "6"]


def test_a_pull_at_an_angle_lies_between_along_and_across(capsys):
    assert run(["fastener", *MOUNT, "--pull", "45", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    across, angled = told["others"]
    assert across["one_n"] < angled["one_n"] < told["one_n"]
    assert angled["one_n"] == pytest.approx(
        2 * told["one_n"] * across["one_n"] / (told["one_n"] + across["one_n"])
    )
    # Pulled and sheared at once: the larger of each distance, 10 d and 8 d at the end.
    assert told["distances_mm"]["loaded_end"] == 100.0
    assert told["distances_mm"]["along"] == 70.0


def test_a_bracket_is_good_for_what_its_far_row_is(capsys):
    assert run(["fastener", *MOUNT, "--arm", "80", "--rows", "2x150,2x30", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    bracket, across = told["others"]
    # Sides of a triangle: pulled 0.256, sheared 0.25 of the load.
    pulled, sheared = 80 * 150 / (2 * (150**2 + 30**2)), 0.25
    sides = {"withdrawal": told["one_n"], "across": across["one_n"]}
    angle = math.atan2(pulled, sheared)
    allowed = (
        sides["withdrawal"]
        * sides["across"]
        / (sides["withdrawal"] * math.cos(angle) ** 2 + sides["across"] * math.sin(angle) ** 2)
    )
    assert bracket["one_n"] == pytest.approx(allowed)
    # The screws at the edge are hardly pulled, and bear their shear alone.
    assert bracket["all_n"] == pytest.approx(4 * across["one_n"])
    assert 4 * across["one_n"] < allowed / math.hypot(pulled, sheared)
    assert run(["fastener", *MOUNT, "--arm", "200", "--rows", "2x150,2x30", "--json"]) == 0
    longer = json.loads(capsys.readouterr().out)["others"][0]
    assert longer["all_n"] < bracket["all_n"]


def test_screws_in_a_row_and_a_bolt_through(capsys):
    assert run(["fastener", *MOUNT, "--count", "4", "--spacing", "60"]) == 0
    out = capsys.readouterr().out
    assert "2.87 of 4 in the row count" in out
    assert "end 100 if loaded" in out
    through = ["through-bolt", "--diameter", "12", "--thread", "80", "--wood", "0.42"]
    assert run(["fastener", *through, "--plate", "6", "--washer", "48", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert "NDS table 12.3.1A" in told["basis"]
    assert told["others"][0]["one_n"] == pytest.approx(1.26e4, rel=5e-3)


def test_fasteners_in_steel(capsys):
    plate = ["steel-plate", "--diameter", "12", "--plate", "6", "--end", "30", "--edge", "25"]
    assert run(["fastener", *plate, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["one_n"] > 10_000
    assert run(["fastener", "tapped-hole", "--diameter", "10", "--thread", "10"]) == 0
    assert "break an 8.8 bolt" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("given", "status"),
    [
        (["bolt"], 2),
        (["bolt", "--diameter", "7"], 1),
        (["nail", "--diameter", "7"], 2),
        (["wood-screw", "--diameter", "5", "--thread", "30", "--wood", "0.9"], 1),
        (["wood-screw", "--diameter", "5", "--thread", "30", "--wood", "2"], 2),
        (["wood-screw", "--diameter", "5", "--thread", "30", "--wood", ".4", "--end-grain"], 2),
        ([*MOUNT[:-2], "--pull", "30"], 1),
        ([*MOUNT, "--pull", "91"], 2),
        ([*MOUNT, "--arm", "80"], 1),
        ([*MOUNT, "--arm", "80", "--rows", "2x0"], 1),
        ([*MOUNT, "--arm", "80", "--rows", "two"], 2),
        ([*MOUNT, "--arm", "80", "--rows", "2x150", "--count", "3"], 1),
        ([*MOUNT, "--arm", "80", "--rows", "2x150,"], 2),
        ([*MOUNT[:-2], "--arm", "80", "--rows", "2x150"], 1),
        (["bolt", "--diameter", "10", "--arm", "80", "--rows", "2x150"], 2),
        ([*MOUNT, "--washer", "40"], 2),
        ([*MOUNT, "--end-grain"], 1),
        ([*MOUNT, "--spacing", "20", "--count", "2"], 1),
        (["lag-screw", "--diameter", "10", "--thread", "20", "--wood", "0.42", "--plate", "6"], 1),
        (["through-bolt", "--diameter", "12", "--thread", "80", "--wood", "0.4"], 2),
        (["steel-plate", "--diameter", "12", "--plate", "6", "--end", "30"], 2),
        (["steel-plate", "--diameter", "12", "--plate", "6", "--end", "13", "--edge", "25"], 1),
        (["tapped-hole", "--diameter", "10.5", "--thread", "10"], 1),
        (["bolt", "--diameter", "10", "--thread", "10"], 2),
        (["bolt", "--diameter", "10", "--tensile", "500"], 2),
        (["wood-screw", "--diameter", "5", "--thread", "30", "--wood", "0.4", "--grain", "9"], 2),
        ([*MOUNT[:-2], "--grain", "30"], 1),
        ([*MOUNT, "--arm", "80", "--rows", "2x150", "--spacing", "60"], 1),
        ([*MOUNT, "--count", "0"], 2),
        (["tapped-hole", "--diameter", "10", "--thread", "10", "--tensile", "nan"], 2),
    ],
)
def test_fasteners_that_cannot_be(capsys, given, status):
    assert run(["fastener", *given]) == status
    assert len(capsys.readouterr().err.strip().splitlines()) == 1


def test_a_flight_load_becomes_a_target(kite, capsys):
    given = ["--flight", "25,1.2,12,30000", "--factor", "1.5", "--solve", "height", "--json"]
    assert run(["plan", *given]) == 0
    told = json.loads(capsys.readouterr().out)
    flight = told["flight"]
    assert flight["force_n"] == pytest.approx(12 * (30_000 * 25 * 1.2 / 26.2) ** 0.5)
    assert told["target_force_n"] == pytest.approx(1.5 * flight["force_n"])
    assert flight["rig_over_flight_duration"] > 1.0
    for bad in ("25,1.2", "a,b,c,d", "25,0,12,30000"):
        assert run(["plan", "--flight", bad]) == 1
    assert run(["plan", *given, "--target", "90"]) == 1


# What a file may say

LINE = {
    "utc": "2026-01-02T18:24:55Z",
    "by": "A",
    "mount": "beam-1",
    "pulled_n": 3000.0,
    "held_s": 70.0,
    "deflection_m": 0.001,
    "set_m": 0.0,
}


def write(kite, *lines):
    texts = [one if isinstance(one, str) else json.dumps(one) for one in lines]
    (kite / "proofs.jsonl").write_text("\n".join(texts) + "\n")


def mount(kite):
    from tautlog.campaign.campaign import read_campaign

    return read_campaign(kite).mounts[0]


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ({**LINE, "utc": "2099-11-26T18:24:55Z"}, "utc = '2099.*it lies in the future"),
        ({**LINE, "utc": "26.11.2026"}, "utc = '26.11.2026': expected an ISO 8601 time"),
        ({**LINE, "utc": "2026-02-30T18:24:55Z"}, "expected an ISO 8601 time"),
        ({**LINE, "utc": ""}, "expected an ISO 8601 time"),
        ({**LINE, "by": ""}, "by = '': expected a name"),
        ({**LINE, "by": None}, "by = None: expected text"),
        ({**LINE, "mount": "beam-1 "}, "mount = 'beam-1 ': expected a name without blanks"),
        ({**LINE, "pulled_n": "9000"}, "pulled_n = '9000': expected a number"),
        ({**LINE, "pulled_n": True}, "pulled_n = True: expected a number"),
        (
            {**LINE, "supersedes": True, "reason": "x"},
            "supersedes True; expected the number of an earlier line",
        ),
        (
            {**LINE, "supersedes": 7, "reason": "x"},
            "supersedes 7; expected the number of an earlier line",
        ),
        (
            {name: LINE[name] for name in LINE if name != "held_s"},
            "held_s is missing; expected a n",
        ),
        ({**LINE, "helds": 70}, "unknown name 'helds'; allowed are utc, by"),
        (json.dumps(LINE)[:-1] + ', "set_m": 0.0005}', "'set_m' occurs twice"),
        (json.dumps(LINE).replace("3000.0", "NaN"), "NaN is not a JSON number"),
        ("[" * 100_000, "nests deeper"),
        ("[1, 2]", "expected one JSON object"),
    ],
)
def test_a_line_that_is_no_proof_forbids_and_is_told_with_its_place(kite, line, word):
    write(kite, line)
    with pytest.raises(
        CampaignError, match=rf"proofs.jsonl line 1 is not a valid proof: .*{word}"
    ) as told:
        read_proofs(kite)
    assert "__init__" not in str(told.value)
    assert "line 1" in mount(kite).failed
    assert mount(kite).proven_n == 0.0
    # It stays, and what stands in its place counts.
    good = ["--pulled", "3000", "--held", "70", "--deflection", "1", "--set", "0", "--by", "B"]
    assert run(["proof", *good, "--supersedes", "1", "--reason", "typed wrongly"]) == 0
    assert (mount(kite).failed, mount(kite).proven_n) == ("", 3000.0)


FAILED = {**LINE, "set_m": 0.0005}


@pytest.mark.parametrize(
    ("first", "then", "lacking"),
    [
        (FAILED, {"deflection_m": None, "set_m": None}, "omits it"),
        (FAILED, {"deflection_m": None}, "omits it"),
        (FAILED, {"set_m": None}, "omits it"),
        ({**LINE, "held_s": 10.0}, {"held_s": 59.0}, "held for 59 s"),
        (
            {**LINE, "most_deflection_m": 5e-4},
            {"deflection_m": None, "set_m": None},
            "the deflection was not read",
        ),
        ({**LINE, "most_deflection_m": 5e-4}, {"deflection_m": 6e-4}, "0.50 mm is allowed"),
    ],
)
def test_a_failure_stays_until_a_later_proof_states_what_failed_and_is_good(
    kite, first, then, lacking
):
    later = {**LINE, "utc": "2026-01-03T10:00:00Z", **then}
    write(kite, first, later)
    assert lacking in mount(kite).failed
    assert "A good proof must state --" in mount(kite).failed
    assert mount(kite).proven_n == 0.0
    # Nor does a correction that leaves it out lift it.
    write(kite, first, {**later, "supersedes": 1, "reason": "r"})
    assert lacking in mount(kite).failed
    # A good one before what states nothing has lifted it.
    good = {**LINE, "deflection_m": 4e-4, "set_m": 0.0}
    write(kite, first, good, {**LINE, "deflection_m": None, "set_m": None})
    assert mount(kite).failed == ""
    write(kite, first, later, good)
    assert (mount(kite).failed, mount(kite).proven_n) == ("", 3000.0)


def test_a_good_pull_that_was_superseded_lifts_nothing(kite):
    unread = {**LINE, "set_m": None, "supersedes": 2, "reason": "the gauge was not zeroed"}
    write(kite, FAILED, LINE, unread)
    assert "omits it" in mount(kite).failed
    assert mount(kite).proven_n == 0.0


def test_a_failure_is_not_written_off_to_another_mount(kite):
    path = kite / "campaign.toml"
    path.write_text(path.read_text() + '\n[[mount]]\nname = "beam-2"\n')
    moved = {**LINE, "mount": "beam-2", "set_m": None, "supersedes": 2, "reason": "other beam"}
    write(kite, LINE, FAILED, moved)
    from tautlog.campaign.campaign import read_campaign

    assert all("it yields" in one.failed for one in read_campaign(kite).mounts)


def test_an_unreadable_line_may_have_failed(kite):
    unread = {**LINE, "set_m": None, "supersedes": 2, "reason": "torn"}
    write(kite, LINE, json.dumps(FAILED)[:60], unread)
    assert "proof 2 cannot be read" in mount(kite).failed


@pytest.mark.parametrize("name", ["Beam-1", "beam -1"])
def test_a_name_that_only_looks_like_the_mounts_opens_nothing_and_hides_nothing(kite, name):
    write(kite, {**LINE, "mount": name})
    assert f"proof 1 is for {name!r}" in mount(kite).failed
    write(kite, LINE, {**FAILED, "mount": name})
    assert f"proof 2 is for {name!r}" in mount(kite).failed
    write(kite, LINE, {**FAILED, "mount": "other beam"})
    assert mount(kite).failed == ""


def test_two_mounts_of_nearly_the_same_name_are_refused(kite, capsys):
    path = kite / "campaign.toml"
    path.write_text(path.read_text() + '\n[[mount]]\nname = "Beam-1"\n')
    assert run(["plan"]) == 1
    assert "differs from 'Beam-1' only in capitals or blanks" in capsys.readouterr().err


def test_the_command_says_that_the_mount_stays_refused(kite, capsys):
    write(kite, FAILED)
    assert run(["proof", "--pulled", "3000", "--held", "70", "--by", "A"]) == 0
    out = capsys.readouterr().out
    assert "NO DROP on this mount" in out
    assert "A good proof must state --set --deflection" in out
    assert run(["proof", "--pulled", "3000", "--held", "70", "--by", "A", "--json"]) == 0
    assert "it yields" in json.loads(capsys.readouterr().out)["mount_failed"]


# A mount by another name


WALL = {**FAILED, "mount": "wall", "utc": "2026-01-02T10:00:00Z"}
WALL_2 = {**LINE, "mount": "wall 2", "utc": "2026-01-03T10:00:00Z"}


@pytest.fixture
def renamed(kite):
    """The failed mount "wall" stands in campaign.toml as "wall 2" now."""
    path = kite / "campaign.toml"
    path.write_text(path.read_text().replace('name = "beam-1"', 'name = "wall 2"'))
    return kite


def refused_for(folder):
    from tautlog.campaign.campaign import read_campaign
    from tautlog.campaign.drop_setup import setup_from
    from tautlog.drop.granting import intended_for
    from tautlog.planning.gate import refusals

    campaign = read_campaign(folder)
    found = refusals(intended_for(campaign, setup_from(campaign)))
    return {one.code: one for one in found if one.code.startswith("mount")}


def test_a_failed_proof_is_not_shed_by_another_name(renamed):
    write(renamed, WALL)
    found = refused_for(renamed)
    assert set(found) == {"mount-unproven", "mount-renamed"}
    assert not found["mount-renamed"].final
    text = found["mount-renamed"].text
    assert "'wall', which campaign.toml no longer has, failed: its proof failed" in text
    assert "put 'wall' back" in text
    assert "--supersedes 1" in text


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        # A good pull of the new name after the failure lifts it; one before it does not.
        ([WALL, WALL_2], set()),
        ([{**WALL_2, "utc": "2026-01-01T10:00:00Z"}, WALL], {"mount-renamed"}),
        # Nor one that does not state what failed, or that counts no more.
        ([WALL, {**WALL_2, "set_m": None}], {"mount-renamed"}),
        (
            [WALL, WALL_2, {**WALL_2, "set_m": None, "supersedes": 2, "reason": "read wrongly"}],
            {"mount-renamed"},
        ),
        # Entered again under the new name it is that mount's own.
        (
            [WALL, {**WALL, "mount": "wall 2", "supersedes": 1, "reason": "renamed"}],
            {"mount-failed"},
        ),
        # What failed and was good again before the name went tells nothing.
        ([WALL, {**WALL_2, "mount": "wall"}, WALL_2], set()),
        # A good pull of less than is needed opens no more than it proves.
        ([WALL, {**WALL_2, "pulled_n": 500.0}], {"mount-too-low"}),
    ],
)
def test_what_lifts_a_failure_under_another_name(renamed, lines, expected):
    write(renamed, *lines)
    assert set(refused_for(renamed)) == expected


def test_a_pull_that_campaign_toml_states_lifts_no_failure_under_another_name(renamed):
    path = renamed / "campaign.toml"
    text = path.read_text().replace("proven_n = 0.0", "proven_n = 9000.0")
    path.write_text(text.replace('proven_on = ""', 'proven_on = "2026-02-01"'))
    write(renamed, WALL)
    assert set(refused_for(renamed)) == {"mount-renamed"}


def test_a_failed_mount_that_stands_there_still_forbids_no_other(renamed):
    path = renamed / "campaign.toml"
    path.write_text(path.read_text() + '\n[[mount]]\nname = "wall"\n')
    write(renamed, WALL, WALL_2)
    from tautlog.campaign.campaign import read_campaign

    good, failed = read_campaign(renamed).mounts
    assert (good.failed, good.failed_elsewhere, good.proven_n) == ("", "", 3000.0)
    assert "it yields" in failed.failed


def test_the_command_tells_of_the_failure_under_another_name(renamed, capsys):
    write(renamed, WALL)
    assert run(["proof", "--pulled", "3000", "--held", "70", "--by", "A"]) == 0
    assert "NO DROP on this mount: 'wall'" in capsys.readouterr().out


def test_a_limit_that_is_stated_later_holds_for_earlier_pulls(tmp_path, monkeypatch, capsys):
    from kites import change, kite_in, refusal

    kite = kite_in(tmp_path, monkeypatch)  # its mount gave 1.5 mm
    assert refusal(capsys) == ""
    change(kite, "# most_deflection_m = 0.002", "most_deflection_m = 0.001")
    assert "1.50 mm" in refusal(capsys)
