"""Every command that shows numbers shows them in the units asked for, and JSON stays SI."""

import contextlib
import io
import re
import shutil

import pypdf
import pytest

from tautlog.campaign.campaign import read_campaign, read_stated
from tautlog.cli import run
from tautlog.errors import CampaignError

LBF = ("--units", "lbf,ft,ft lbf,lb")
# A force, length, energy or mass in SI, but no slope of a calibration (N/V).
SI_NUMBER = re.compile(r"\d (k?N|m|J|kg)\b(?!/V)|\bN/m\b|\d N s\b")
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
    }


NAMES = ("list", "mark", "plan", "plan --flight", "next", "qualify", "ledger", "proof")


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
    if name not in ("qualify",):  # without articles it shows the target only
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
