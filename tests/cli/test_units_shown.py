"""Every command that shows numbers shows them in the units asked for, and JSON stays SI."""

import contextlib
import io
import re
import shutil

import pypdf
import pytest
from kites import DATED, NO_BOARD, change, kite_in, table

from tautlog.campaign.campaign import read_campaign, read_stated
from tautlog.campaign.drop_setup import setup_from
from tautlog.cli import run
from tautlog.drop.granting import permitted
from tautlog.errors import CampaignError
from tautlog.model.display_units import units_named
from tautlog.rehearsal.process import BoardProcess
from tautlog.rehearsal.rig import SimulatedRig
from tautlog.rehearsal.scene import default_scene

LBF = ("--units", "lbf,ft,ft lbf,lb")
# A force, length, energy or mass in SI, but no slope of a calibration (N/V).
SI_NUMBER = re.compile(r"\d (k?N|m|J|kg)\b(?!/V)|\bN/m\b|\d N s\b")
LAG_SCREW = "lag-screw --diameter 10 --thread 80 --wood 0.42 --plate 6 --pull 45"
KEPT = "the reasons, as they are kept, in SI:"


@pytest.fixture(scope="module")
def kite(tmp_path_factory):
    """A campaign with one rehearsed drop."""
    folder = tmp_path_factory.mktemp("units") / "kite"
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder.parent)
        assert run(["init", "kite"]) == 0
        patch.chdir(folder)
        with contextlib.redirect_stdout(io.StringIO()) as told:
            assert run(["rehearse", "--yes", "--all", "--speed", "20", *LBF]) == 0
        (folder.parent / "rehearsed.txt").write_text(told.getvalue())
        pulled = ["--pulled", "3000", "--held", "70", "--deflection", "1.5", "--set", "0.05"]
        assert run(["proof", *pulled, "--by", "A. Rigger"]) == 0
        add = ["--add", "--line", "polyester 8 mm, 1.5 m", "--peak-at-most", "900"]
        assert run(["ledger", *add, "--by", "A. Rigger"]) == 0
        text = (folder / "campaign.toml").read_text()
        asked = "\n[qualification]\nreliability = 0.9\nconfidence = 0.9\n"
        (folder / "campaign.toml").write_text(text + asked)
    return folder


@pytest.fixture
def here(kite, monkeypatch):
    monkeypatch.chdir(kite)
    return kite


def commands(folder):
    record = str(next((folder / "rehearsals").glob("*.h5")))
    return {
        "list": ["list", "rehearsals", "--rehearsed"],
        "mark": ["mark", record, "--budget"],
        "plan": ["plan", "--ladder", "--odds"],
        "plan --flight": ["plan", "--flight", "25,1.2,12,30000", "--factor", "1.5"],
        "next": ["next"],
        "qualify": ["qualify"],
        "ledger": ["ledger", "--rehearsed"],
        "proof": ["proof", "--list"],
        "qualify --plan": ["qualify", "--plan", "--reliability", "0.9", "--confidence", "0.9"],
        "fastener": ["fastener", *LAG_SCREW.split()],
    }


NAMES = ("list", "mark", "plan", "plan --flight", "next", "qualify", "ledger", "proof")
NAMES += ("qualify --plan", "fastener")


def without_kept(text):
    """What is shown, without the sentences that a record keeps, and without names."""
    text = text.replace("polyester 8 mm, 1.5 m", "the line")
    if KEPT in text:
        head, _, tail = text.partition(KEPT)
        text = head + "\n".join(line for line in tail.splitlines() if not line.startswith("  - "))
    return "\n".join(line for line in text.splitlines() if not re.search(r"  [AB]  +\d+ %  ", line))


@pytest.mark.parametrize("name", NAMES)
def test_no_number_of_si_is_shown_where_other_units_are_asked_for(here, capsys, name):
    assert run([*commands(here)[name], *LBF]) == 0
    shown = without_kept(capsys.readouterr().out)
    assert not SI_NUMBER.findall(shown), shown
    if name not in ("qualify", "qualify --plan"):  # of the target, and of the height only
        assert re.search(r"\blbf\b", shown)


@pytest.mark.parametrize("name", NAMES)
def test_the_sweep_would_see_a_number_of_si(here, capsys, name):
    assert run(commands(here)[name]) == 0
    shown = without_kept(capsys.readouterr().out)
    assert SI_NUMBER.findall(shown) or re.search(r"_n\b|_kg\b|, N\b", shown) or name == "qualify"


def test_a_rehearsal_is_told_in_the_units_asked_for(kite):
    told = (kite.parent / "rehearsed.txt").read_text()
    shown = without_kept(told)
    assert "peak 425 lbf +/- 11 lbf" in shown
    assert re.search(r"target_force_n +404\.656 lbf", shown)
    assert not SI_NUMBER.findall(shown), shown


def test_a_procedure_is_printed_in_the_units_asked_for(here, tmp_path):
    pdf = tmp_path / "procedure.pdf"
    assert run(["procedure", "--pdf", str(pdf), *LBF]) == 0
    text = " ".join(page.extract_text() for page in pypdf.PdfReader(pdf).pages)
    assert "404.7 lbf" in text
    assert "1 lbf = 4.4482216152605 N" in " ".join(text.split())
    shown = re.sub(r"1 (lbf|ft|ft lbf|lb) = \S+ \S+", "", " ".join(text.split()))
    shown = shown.replace("polyester 8 mm, 1.5 m", "the line")
    assert not SI_NUMBER.findall(shown), re.findall(f".{{60}}(?:{SI_NUMBER.pattern}).{{20}}", shown)


@pytest.mark.parametrize("name", NAMES)
def test_json_is_the_same_whatever_is_shown(here, capsys, name):
    told = []
    for more in ((), LBF):
        assert run([*commands(here)[name], "--json", *more]) == 0
        told.append(re.sub(r'"[a-z_]*utc": "[^"]*"', "", capsys.readouterr().out))
    assert told[0] == told[1]


def test_a_report_shows_the_units_and_says_their_factors_once(here, tmp_path):
    record = str(next((here / "rehearsals").glob("*.h5")))
    page = tmp_path / "report.html"
    assert run(["report", record, "--rehearsed", "--out", str(page), *LBF]) == 0
    text = page.read_text()
    assert text.count("1 lbf = 4.4482216152605 N (NIST SP 811 (2008), appendix B.8, exact)") == 1
    assert "peak 425 lbf" in text
    assert "force, lbf" in text
    words = re.sub(r"<svg.*?</svg>|<script.*?</script>|<style.*?</style>", "", text, flags=re.S)
    assert "peak force, lbf" in words
    assert ", N<" not in words


def test_the_units_of_the_campaign_are_shown_unless_others_are_asked_for(kite, tmp_path, capsys):
    folder = tmp_path / "own"
    shutil.copytree(kite, folder)
    file = folder / "campaign.toml"
    file.write_text(file.read_text() + '\n[display]\nforce = "lbf"\nlength = "ft"\n')
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        assert run(["plan"]) == 0
        assert re.search(r"peak +425\.\d lbf", capsys.readouterr().out)
        assert run(["plan", "--units", "kN"]) == 0
        shown = capsys.readouterr().out
        assert re.search(r"peak +1\.8\d\d kN", shown)
        assert "3.937 ft" in shown
        assert run(["plan", "--json"]) == 0
        assert '"target_force_n": 1800.0' in capsys.readouterr().out
    assert read_campaign(folder).units == read_stated(file).display.units


@pytest.mark.parametrize("stated", ['force = "kgf"', 'force = "LBF"', 'length = "yd"', "mass = 1"])
def test_a_unit_that_is_not_known_is_a_mistake_that_names_those_known(kite, tmp_path, stated):
    shutil.copy(kite / "campaign.toml", tmp_path)
    file = tmp_path / "campaign.toml"
    file.write_text(file.read_text() + f"\n[display]\n{stated}\n")
    with pytest.raises(CampaignError) as told:
        read_campaign(tmp_path)
    kind = stated.partition(" ")[0]
    known = {"force": "N or kN or lbf", "length": "m or mm or ft or in", "mass": "text in quotes"}
    assert known[kind] in str(told.value)


def test_a_word_that_is_no_unit_is_wrong_usage(here, capsys):
    assert run(["plan", "--units", "kgf,ft"]) == 2
    assert "force N, kN, lbf" in capsys.readouterr().err


def test_a_calibration_is_told_in_the_units_asked_for_and_kept_in_si(here, tmp_path, capsys):
    table(here)  # without its campaign nothing is kept
    (tmp_path / "points.csv").write_text((here / "points.csv").read_text())
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(tmp_path)
        assert run(["calibrate", "--from-csv", "points.csv", *LBF]) == 0
        shown = capsys.readouterr().out
        assert not SI_NUMBER.findall(shown), shown
        assert "covered to 66.1 lbf" in shown
        assert "residual, lbf" in shown
        told = []
        for more in ((), LBF):
            assert run(["calibrate", "--from-csv", "points.csv", "--json", *more]) == 0
            told.append(capsys.readouterr().out)
        assert told[0] == told[1]


@pytest.fixture
def refused(tmp_path, monkeypatch):
    """A campaign whose drop is refused by mount, sled, rails and catch."""
    kite = kite_in(tmp_path, monkeypatch)
    change(kite, "most_mass_kg = 25.0", "most_mass_kg = 8.0")
    change(kite, "catch_energy_j = 300.0", "catch_energy_j = 100.0")
    return kite


def reasons(text):
    return {line.split("REFUSE ")[1] for line in text.splitlines() if "REFUSE " in line}


def test_plan_check_and_drop_refuse_in_the_same_words(refused, capsys):
    stiff = ("--height", "2.3", *LBF)
    run(["plan", *stiff])
    planned = reasons(capsys.readouterr().out)
    assert len(planned) >= 3
    assert run(["check", "--by", "A", "--with", "B", *stiff]) == 1
    checked = capsys.readouterr().err
    assert planned <= reasons(checked)
    assert run(["drop", *NO_BOARD, *stiff]) == 1
    dropped = capsys.readouterr().err
    for reason in planned:
        assert reason in dropped
    shown = "\n".join((*planned, checked.replace("GB free", ""), dropped))
    assert not SI_NUMBER.findall(shown.replace("1.5 m", "")), shown


def test_a_checklist_and_an_override_are_kept_in_si(refused, capsys):
    run(["check", "--by", "A", "--with", "B", *LBF])
    (kept,) = (refused / "checklists").glob("*.json")
    assert "sled: 9.00 kg of 8.00 kg" in kept.read_text()
    assert "lb" not in kept.read_text()
    told = []
    campaign = read_campaign(refused)
    permit = permitted(
        campaign,
        setup_from(campaign),
        by="L. Lead",
        reason="a trial",
        say=told.append,
        units=units_named(LBF[1].split(",")),
    )
    assert "9.00 kg of 8.00 kg" in permit.setup.override
    assert any("19.84 lb of 17.64 lb" in text for text in told)


def test_a_board_at_rest_is_told_in_the_units_asked_for(tmp_path, monkeypatch, capsys):
    assert run(["init", str(tmp_path / "kite"), "--practice"]) == 0
    monkeypatch.chdir(tmp_path / "kite")
    change(tmp_path / "kite", '\ndate = ""', DATED)
    capsys.readouterr()
    with BoardProcess(SimulatedRig(default_scene(), seed=1), speed=8.0) as board:
        given = ["--port", board.url, "--link-timeout", "3"]
        run(["health", *given, "--target", "3000", *LBF])
        shown = "".join(capsys.readouterr())
        assert re.search(r"noise 0\.\d+ lbf rms", shown)
        assert re.search(
            r"[\d.]+ lbf of tension fit below the far limit, this drop may reach", shown
        )
        assert not SI_NUMBER.findall(shown), shown
        run(["check", *given, "--by", "A", "--with", "B", "--target", "3000", *LBF])
        shown = "".join(capsys.readouterr()).replace("polyester 8 mm, 1.5 m", "")
        assert re.search(r"noise 0\.\d+ lbf rms, at most 3\.\d+ lbf is allowed", shown), shown
        assert not SI_NUMBER.findall(shown.replace("GB", "")), shown
