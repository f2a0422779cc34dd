"""Inspections with dimensions: growth against its limit, and what the figures do not allow."""

import json
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_records import made

from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.dimensions import readings
from tautlog.cli import run
from tautlog.errors import CampaignError, TautlogError
from tautlog.model.dimensions import (
    BEYOND,
    NO_LIMIT,
    UNCLEAR,
    WITHIN,
    Measured,
    against_figures,
    as_text,
    from_text,
    texts_of,
)
from tautlog.record import add_inspection, open_record

STATED = """
[[dimension]]
name = "length"
article = "bridle-1"
before_mm = 312.0
expanded_u_mm = 0.1
limit_mm = 0.5

[[dimension]]
name = "hole"
article = "bridle-2"
before_mm = 8.0
expanded_u_mm = 0.02
"""


# Growth +/- sqrt(2) 0.1 = 0.1414 mm against 0.5 mm, guarded on both sides by U (JCGM 106:2012,
# 8.3; ISO 14253-1): proven within to 0.3586 mm, proven beyond above 0.6414 mm.
@pytest.mark.parametrize(
    ("growth_mm", "word"),
    # Found by an attack: 200 mm instead of 312 mm were within. It is another article, or misread.
    [
        (-112.0, UNCLEAR),
        (-0.65, UNCLEAR),
        (-0.2, WITHIN),
        (0.358, WITHIN),
        (0.36, UNCLEAR),
        (0.64, UNCLEAR),
        (0.642, BEYOND),
    ],
)
def test_growth_is_told_only_where_it_is_proven(growth_mm, word):
    assert Measured("length", 312.0, 312.0 + growth_mm, 0.1, 0.5).word == word


def test_without_a_limit_nothing_is_judged():
    assert Measured("length", 312.0, 400.0, 0.1).word == NO_LIMIT


@given(*(st.floats(0.01, 1e4) for _ in range(4)))
def test_what_is_kept_comes_back(before, after, spread, limit):
    one = Measured("a \N{DEGREE SIGN} name", before, after, spread, limit)
    assert from_text(as_text([one])) == (one,)


@pytest.mark.parametrize("text", ["{", "[1]", '[{"name": 1}]', "[[]]", "7"])
def test_what_cannot_be_read_is_said(text):
    with pytest.raises(ValueError, match="cannot be read"):
        from_text(text)
    assert texts_of(text) == ("the dimensions cannot be read",)


def test_a_finding_must_stand_beside_the_figures():
    beyond, unclear, within = (
        Measured("length", 312.0, 312.0 + growth, 0.1, 0.5) for growth in (0.7, 0.5, 0.1)
    )
    assert "deformed-beyond" in against_figures("intact", [within, beyond])
    assert "not-inspected" in against_figures("deformed-within", [within, unclear])
    assert against_figures("intact", [within]) == ""
    assert against_figures("deformed-beyond", [beyond]) == ""
    assert against_figures("not-inspected", [unclear]) == ""


@pytest.fixture
def kite(tmp_path, monkeypatch):
    folder = tmp_path / "kite"
    assert run(["init", str(folder)]) == 0
    file = folder / "campaign.toml"
    file.write_text(file.read_text() + STATED)
    monkeypatch.chdir(folder)
    return made(folder / "one.h5")


@pytest.mark.parametrize(
    "typed",
    [
        {"length": "31_2"},
        {"length": "312 N"},
        {"hole": "8.1"},
        {"lenght": "312"},
        {"length": "0.3124"},
        {"length": "nan"},
        {"length": ""},
    ],
)
def test_absurd_readings_are_refused(kite, typed):
    with pytest.raises(TautlogError):
        readings(read_campaign(kite.parent, to_drop=False).dimensions, "bridle-1", typed)


def test_a_dimension_without_a_before_tells_no_growth(kite):
    file = kite.parent / "campaign.toml"
    file.write_text(file.read_text().replace("before_mm = 312.0\nexp", "exp"))
    with pytest.raises(CampaignError, match="before_mm"):
        readings(
            read_campaign(kite.parent, to_drop=False).dimensions, "bridle-1", {"length": "312"}
        )


def inspect(record, found, *more):
    return run(["inspect", str(record), "--found", found, "--by", "A. Rigger", *more])


def test_the_command_keeps_what_was_measured(kite, capsys):
    assert inspect(kite, "intact", "--dimension", "length=312.2") == 0
    assert "growth +0.20 +/- 0.14 mm" in capsys.readouterr().out
    (kept,) = open_record(kite).inspections
    assert from_text(kept.dimensions) == (Measured("length", 312.0, 312.2, 0.1, 0.5),)


def judged_by(folder, names):
    """Let the criterion of a campaign be judged by dimensions."""
    file = folder / "campaign.toml"
    text = file.read_text()
    line = next(line for line in text.splitlines() if "criterion_dimensions" in line)
    assert line.startswith("#")  # an example that judges nothing by itself
    file.write_text(text.replace(line, f'criterion_dimensions = "{names}"'))


def limit_the_hole(folder):
    file = folder / "campaign.toml"
    file.write_text(file.read_text() + "limit_mm = 0.1\n")  # the last section is the hole


def test_a_criterion_with_figures_is_judged_from_them(kite, capsys):
    judged_by(kite.parent, "length, hole")
    limit_the_hole(kite.parent)
    assert inspect(kite, "intact") != 0
    assert "judged by length, not measured here: give --dimension length=MM" in (
        capsys.readouterr().err
    )
    assert inspect(kite, "deformed-within", "--dimension", "length=312.5") != 0  # within or beyond?
    assert "measure more finely" in capsys.readouterr().err
    assert open_record(kite).inspections == ()
    assert inspect(kite, "intact", "--dimension", "length=312.2") == 0
    assert inspect(kite, "parted") == 0  # a part in two needs no calliper
    assert inspect(kite, "not-inspected") == 0


def test_an_article_without_the_dimension_of_its_criterion_is_not_called_whole(kite, capsys):
    judged_by(kite.parent, "hole")
    limit_the_hole(kite.parent)
    assert inspect(kite, "intact") != 0
    assert "none of them is of article 'bridle-1'" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("names", "word"),
    [
        ("length, lenth", "no [[dimension]] has that name; did you mean"),
        ("hole", "its [[dimension]] must state limit_mm"),
    ],
)
def test_a_criterion_that_could_judge_nothing_is_a_mistake(names, word, kite):
    judged_by(kite.parent, names)
    with pytest.raises(CampaignError, match=re.escape(word)):
        read_campaign(kite.parent, to_drop=False)


def test_json_tells_dimensions_with_unit_and_verdict(kite, capsys):
    file = kite.parent / "campaign.toml"
    file.write_text(file.read_text().replace('"bridle-2"', '"bridle-1"'))
    given = ("--dimension", "length=31.22 cm", "--dimension", "hole=8.1")
    assert inspect(kite, "intact", *given, "--json") == 0
    length, hole = json.loads(capsys.readouterr().out)["dimensions"]
    assert length == {
        "name": "length",
        "unit": "mm",
        "before": 312.0,
        "after": 312.2,
        "expanded_u": 0.1,
        "growth": pytest.approx(0.2),
        "growth_expanded_u": pytest.approx(0.1 * 2**0.5),
        "limit": 0.5,
        "verdict": "within",
    }
    assert (hole["growth"], hole["limit"], hole["verdict"]) == (pytest.approx(0.1), None, None)
    assert inspect(kite, "intact", "--json") == 0
    assert json.loads(capsys.readouterr().out)["dimensions"] == []


def test_the_command_refuses_what_the_figures_do_not_allow(kite, capsys):
    assert inspect(kite, "intact", "--dimension", "length=313.4") != 0
    assert "does not agree with the figures" in capsys.readouterr().err
    assert inspect(kite, "intact", "--dimension", "length") != 0
    assert open_record(kite).inspections == ()
    assert inspect(kite, "deformed-beyond", "--dimension", "length=313.4") == 0


def test_an_inspection_without_dimensions_reads_as_before(kite):
    add_inspection(kite, by="A", finding="intact")
    (kept,) = open_record(kite).inspections
    assert kept.dimensions == ""
    assert texts_of(kept.dimensions) == ()
