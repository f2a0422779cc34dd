"""Articles and lines that inspection or the campaign condemned are not dropped again."""

import json
import re

import pytest
from kites import kite_in, refusal
from made_records import SETUP, VIRTUAL, made

from tautlog.archive.summary import RecordSummary
from tautlog.campaign.condemned import Retired, condemned
from tautlog.cli import run
from tautlog.model.inspection import ARTICLE_FINDINGS
from tautlog.model.origin import REHEARSED


@pytest.fixture
def kite(tmp_path, monkeypatch):
    return kite_in(tmp_path, monkeypatch)


def record(name, found, **more):
    return RecordSummary(f"{name}.h5", article="eye", line="rope", found=found, **more)


def why(*records, retired=(), article="eye", line="rope"):
    return condemned(records, retired, article=article, line=line)


@pytest.mark.parametrize("found", ARTICLE_FINDINGS)
def test_every_finding_is_good_bad_or_none(found):
    bad = found in ("deformed-beyond", "parted", "slipped")
    assert bool(why(record("a", found))) == bad


def test_the_newest_finding_counts_and_no_inspection_is_none():
    assert "found parted after b" in why(record("a", "intact"), record("b", "parted"))[0]
    assert why(record("a", "parted"), record("b", "")) != ()
    assert why(record("a", "parted"), record("b", "not-inspected")) != ()
    assert why(record("a", "parted"), record("b", "intact")) == ()


def test_of_whom_it_tells():
    assert why(record("a", "parted"), article="Eye") != ()
    assert why(record("a", "parted"), article="other") == ()
    assert why(record("a", "parted"), article="") == ()
    assert why(record("a", "parted", origin=REHEARSED)) == ()
    assert why(record("a", "parted", origin=REHEARSED, differs="attributes")) != ()
    rope = (Retired("line", "rope", "cut"),)
    assert why(retired=rope) == ("campaign.toml retires line 'rope': cut",)
    assert why(retired=rope, line="other") == why(retired=rope, line="") == ()
    assert why(retired=(Retired("article", "rope", "cut"),)) == ()


def test_an_article_that_parted_is_refused_until_a_named_person_takes_it(kite, capsys):
    path = made(kite / "a.h5", setup=SETUP)
    assert refusal(capsys) == ""
    run(["inspect", str(path), "--found", "parted", "--by", "A"])
    told = refusal(capsys)
    assert "article 'bridle-1' was found parted after a" in told
    assert "--override-by" in told
    more = ["--override-by", "L", "--override-reason", "sewn again, for the line's sake"]
    assert refusal(capsys, *more) == ""
    run(["inspect", str(path), "--found", "intact", "--by", "A", "--note", "wrong one"])
    assert refusal(capsys) == ""
    other = made(kite / "b.h5", setup=SETUP, board=VIRTUAL)
    run(["inspect", str(other), "--found", "parted", "--by", "A"])
    assert refusal(capsys) == ""


def test_what_the_campaign_retires_is_refused(kite, capsys):
    path = kite / "campaign.toml"
    text = path.read_text().replace("# retired", "retired")
    path.write_text(text)
    told = refusal(capsys)
    assert "campaign.toml retires line 'polyester 8 mm, 1.5 m': A. Rigger" in told
    assert "campaign.toml retires article 'bridle-1': A. Rigger" in told
    assert run(["plan", "--json"]) == 0
    checks = json.loads(capsys.readouterr().out)["checks"]
    assert [one["code"] for one in checks].count("condemned") == 2


def test_a_retirement_without_a_reason_retires_all_the_same(kite, capsys):
    path = kite / "campaign.toml"
    text = re.sub(r"# retired = .*", 'retired = " "', path.read_text())
    path.write_text(text)
    assert "': no reason is stated" in refusal(capsys)
