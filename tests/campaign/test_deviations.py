"""Deviations: kept for ever, answered by a second entry, and refused if nobody can mean them."""

import json
import shutil
from dataclasses import replace

import made_records
import pytest
from command_line import said
from desks import Seen, Visit, campaign_in, drop_in

from tautlog.archive.listing import records_in
from tautlog.archive.verify import verify
from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.deviations import FILE_NAME, Deviation, enter_deviation, read_log
from tautlog.cli import run
from tautlog.desk.admission import Role
from tautlog.display.report.places import contents_at, opened_at
from tautlog.errors import CampaignError
from tautlog.files.chain import LINE, read_chain
from tautlog.model.origin import MARK
from tautlog.planning.day import open_points

UTC = "2026-03-02T12:00:00Z"
WET = Deviation(UTC, "A. Rigger", "the line was wet")
PEOPLE = """
[[person]]
name = "A. Rigger"
roles = "operator, second"
[[person]]
name = "B. Boss"
roles = "decider, approver"
"""


@pytest.fixture(scope="module")
def kite_once(tmp_path_factory):
    folder = campaign_in(tmp_path_factory.mktemp("kites") / "kite")
    drop_in(folder, "one")
    (folder / "rehearsals").mkdir()
    drop_in(folder / "rehearsals", "practice", board=made_records.VIRTUAL)
    return folder


@pytest.fixture
def kite(kite_once, tmp_path):
    return shutil.copytree(kite_once, tmp_path / "kite")


def enter(folder, made):
    return enter_deviation(read_campaign(folder), made, records_in(folder, rehearsed=True))


def contents(folder, *, rehearsed=False):
    opened = opened_at([folder], rehearsed=rehearsed)
    return contents_at(opened, read_campaign(folder), folder, None)


def test_a_deviation_is_answered_and_both_stay_in_the_chain(kite):
    enter(kite, replace(WET, record="one", step="drop", agreed="B. Boss"))
    assert [one.open for one in read_log(kite)] == [True]
    enter(kite, replace(WET, by="B. Boss", text="dried for a day", answers=1))
    (one,) = read_log(kite)
    assert not one.open
    assert "drop one, step drop: the line was wet" in one.words
    assert "agreed by B. Boss" in one.words
    assert "closed by 2, B. Boss: dried for a day" in one.words
    kept = [link for link in read_chain(kite).links if link.kind == LINE]
    assert [(link.name, link.number) for link in kept] == [(FILE_NAME, 1), (FILE_NAME, 2)]
    assert not [one for one in verify([kite]) if one.path.name == FILE_NAME]


@pytest.mark.parametrize(
    "tamper",
    [
        lambda lines: lines[1:],
        lambda lines: [lines[0].replace(b"wet", b"dry"), *lines[1:]],
        lambda lines: [lines[0], lines[0]],
        lambda lines: [],
    ],
)
def test_verify_sees_what_was_done_to_the_log(tamper, kite):
    enter(kite, WET)
    enter(kite, replace(WET, text="dried", answers=1))
    path = kite / FILE_NAME
    path.write_bytes(b"".join(tamper(path.read_bytes().splitlines(keepends=True))))
    found = [one.state for one in verify([kite]) if one.path.name == FILE_NAME and one.differs]
    assert found


def test_an_answer_cannot_take_the_place_of_a_deviation(kite):
    """Neither through the program nor by hand: a deviation is never deleted."""
    enter(kite, WET)
    hiding = replace(WET, text="there was none", answers=1, supersedes=1, reason="wrong")
    with pytest.raises(CampaignError, match="answer it instead"):
        enter(kite, hiding)
    with (kite / FILE_NAME).open("a") as file:
        file.write(json.dumps({**vars(WET), "answers": 9, "supersedes": 1, "reason": "x"}) + "\n")
    (one,) = read_log(kite)
    assert one.open


def test_a_correction_leaves_what_it_corrects_in_the_log_and_in_the_report(kite):
    enter(kite, WET)
    enter(kite, replace(WET, text="the line was damp", supersedes=1, reason="looked again"))
    first, second = read_log(kite)
    assert (first.open, first.superseded_by, second.open) == (False, 2, True)
    with pytest.raises(CampaignError, match="corrected by 2"):
        enter(kite, replace(WET, text="dried", answers=1))
    told = contents(kite).stated_deviations
    assert [("wet" in one, "damp" in one) for one in told] == [(True, False), (False, True)]


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"by": ""}, "name of who"),
        ({"by": " ... "}, "name of who"),
        ({"text": ""}, "plain words"),
        ({"text": "\u3164"}, "plain words"),
        ({"text": "wet\nline"}, "U\\+000A"),
        ({"text": "wet \x1b[2Jline"}, "U\\+001B"),
        ({"text": "wet \u202e line"}, "U\\+202E"),
        ({"text": "w" * 2001}, "2001 letters"),
        ({"agreed": "a. rigger"}, "somebody else"),
        ({"agreed": "--"}, "expected a name"),
        ({"step": "drops"}, "did you mean 'drop'"),
        ({"requirement": "target"}, "target_n"),
        ({"utc": "2999-03-01T00:00:00Z"}, "future"),
        ({"utc": "yesterday"}, "ISO 8601"),
        ({"record": "two"}, "not in this campaign"),
        ({"record": "../one"}, "not in this campaign"),
        ({"answers": 1}, "no deviation has that number"),
        ({"answers": -1}, "no deviation has that number"),
        ({"answers": 1, "step": "drop"}, "the deviation did"),
        ({"supersedes": 3, "reason": "x"}, "no entry 3|no entries"),
    ],
)
def test_what_nobody_can_mean_is_refused_and_nothing_kept(changes, word, kite):
    with pytest.raises(CampaignError, match=word):
        enter(kite, replace(WET, **changes))
    assert not (kite / FILE_NAME).exists()


def test_a_record_from_the_future_is_refused(kite):
    drop_in(kite, "later", utc="2999-03-02T10:00:00.000Z")
    with pytest.raises(CampaignError, match="future"):
        enter(kite, replace(WET, record="later"))


def test_a_line_that_cannot_be_read_stops_a_report(kite):
    """A report that passes over a deviation would say that there is none."""
    (kite / FILE_NAME).write_text("{nonsense\n")
    with pytest.raises(CampaignError, match=FILE_NAME):
        contents(kite)


def test_rehearsed_ones_are_marked_and_kept_apart(kite):
    enter(kite, replace(WET, record="practice"))
    enter(kite, replace(WET, text="the mass was not weighed"))
    practised, real = read_log(kite)
    assert (practised.rehearsed, real.rehearsed) == (True, False)
    assert practised.words.startswith(MARK)
    assert contents(kite).stated_deviations == (real.words,)
    points = [one.action for one in open_points(read_campaign(kite), [])]
    assert "Answer deviation 2" in points
    assert "Answer deviation 1" not in points


def test_a_practice_campaign_marks_all_of_its_deviations(tmp_path):
    assert run(["init", str(tmp_path / "practice"), "--practice"]) == 0
    enter(tmp_path / "practice", WET)
    assert read_log(tmp_path / "practice")[0].words.startswith(MARK)


def test_a_role_that_somebody_took_is_found_and_not_refused(kite, capsys):
    with (kite / "campaign.toml").open("a") as file:
        file.write(PEOPLE)
    _, doubts = enter(kite, replace(WET, agreed="C. Else"))
    assert doubts == (
        "C. Else agreed to a deviation without being approver: campaign.toml gives that role to "
        "B. Boss",
    )
    said(capsys, "inspect", str(kite / "one.h5"), "--found", "intact", "--by", "D. Else")
    decided = ["--verdict", "pass", "--reason", "seen"]
    assert run(["decide", str(kite / "one.h5"), *decided, "--by", "b. boss"]) == 0
    assert "without being" not in capsys.readouterr().err
    assert run(["decide", str(kite / "one.h5"), *decided, "--by", "A. Rigger"]) == 0
    assert "A. Rigger decided on the test without being decider" in capsys.readouterr().err
    told = contents(kite)
    found = [text for text in told.deviations if "without being" in text]
    assert len(found) == 2
    assert any("D. Else inspected the article without being inspector" in one for one in found)
    assert any("gives that role to nobody" in one for one in found)
    assert any("C. Else agreed" in one for one in told.stated_deviations)
    assert not set(told.stated_deviations) & set(told.deviations)


@pytest.mark.parametrize("roles", ['""', '"pilot"', '"operator; second"'])
def test_roles_that_nobody_knows_are_refused(roles, kite):
    with (kite / "campaign.toml").open("a") as file:
        file.write(f'\n[[person]]\nname = "A"\nroles = {roles}\n')
    with pytest.raises(CampaignError, match="allowed are operator, second"):
        read_campaign(kite)


@pytest.mark.parametrize(("rule", "refused"), [("advised", False), ("required", True)])
def test_the_lists_two_persons_need_their_roles_where_the_list_is_required(
    rule, refused, kite, monkeypatch, capsys
):
    path = kite / "campaign.toml"
    text = path.read_text().replace('checklist = "advised"', f'checklist = "{rule}"')
    path.write_text(text + PEOPLE)
    monkeypatch.chdir(kite)
    run(["check", "--by", "A. Rigger", "--with", "C. Else"])
    err = capsys.readouterr().err
    assert "C. Else was second person at the checklist without being second" in err
    assert bool(list(kite.glob("checklists/*.json"))) != refused


def test_the_command_states_answers_and_lists(kite, monkeypatch, capsys):
    monkeypatch.chdir(kite)
    entered = ["deviation", "the line was wet", "--by", "A", "--record", "one.h5"]
    assert "OPEN" in said(capsys, *entered)[1]
    assert "closed by 2" in said(capsys, "deviation", "dried", "--by", "B", "--answers", "1")[1]
    (one,) = json.loads(said(capsys, "deviation", "--json")[1])
    assert (one["open"], one["entry"]["record"]) == (False, "one")
    assert run(["deviation", "--by", "A"]) == 2
    assert run(["deviation", "wet"]) == 2
    for empty in ("", "  "):
        status, out, err = said(capsys, "deviation", empty)
        assert (status, out) == (2, "")
        assert "TEXT is empty" in err
    capsys.readouterr()


def test_the_desk_states_and_answers_and_watchers_only_look(kite):
    crew, watcher = Visit(kite), Visit(kite, Role.WATCHER)
    entry = {"text": "the <b>line</b> was wet", "by": "A", "record": "one", "step": "drop"}
    assert crew.enter("/deviations", entry).status_code == 303
    assert (
        crew.enter("/deviations", {"text": "dried", "by": "B", "answers": "1"}).status_code == 303
    )
    page = watcher.get("/deviations").text
    assert "closed by 2, B: dried" in Seen(page).text
    assert "<b>line" not in page
    assert "<form method" not in page
    assert watcher.enter("/deviations", entry, token="").status_code in (403, 405)
    for fields, word in (
        ({"text": "", "by": "A"}, "plain words"),
        ({"text": "x", "by": ""}, "name of who"),
        ({"text": "x", "by": "A", "record": "nope"}, "not in this campaign"),
        ({"text": "x", "by": "A", "answers": "x"}, "number of an entry"),
    ):
        answer = crew.enter("/deviations", fields)
        assert answer.status_code == 400
        assert word in Seen(answer.text).text
    assert len(read_log(kite)) == 1
