"""Stay out: after a board was armed nobody begins anything until a person has looked, by name."""

from types import SimpleNamespace

import pytest
from command_line import said
from desks import Visit
from fakes.crew import SilentCrew
from fakes.drops import CALIBRATION, SETUP, plan_at, session_with
from fakes.liars import Liar, Lie, campaign_at
from fakes.lies import refuses

from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.drop_setup import DropRequest
from tautlog.campaign.zone import (
    FILE_NAME,
    confirm_at_rest,
    note_armed,
    note_held,
    note_not_armed,
    require_looked,
    stay_out,
)
from tautlog.cli import run
from tautlog.desk.desk import Desk
from tautlog.desk.drop_order import DropAsked, DropOrder
from tautlog.drop import run as drop_run
from tautlog.drop.granting import permitted
from tautlog.drop.permit import CHECKED, grant
from tautlog.drop.run import run_drop
from tautlog.errors import AbortedError, CampaignError, RefusedError

STAY_OUT = "nobody has confirmed that the rig is at rest"


@pytest.fixture
def campaign(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return campaign_at(tmp_path)


def dropped(campaign, board, crew=None):
    permit = grant(SETUP, CALIBRATION, "kite", CHECKED, folder=campaign.folder)
    plan = plan_at(campaign.folder / "drop.h5", permit=permit)
    return run_drop(session_with(board), plan, crew or SilentCrew())


def test_a_program_that_is_killed_while_armed_leaves_the_line(campaign, monkeypatch):
    """Found by an attack: a desk that was killed showed NOT ARMED, and asked nobody."""

    def killed(*given, **options):
        assert stay_out(campaign.folder).about == "drop.h5"  # before anything is armed
        raise KeyboardInterrupt

    monkeypatch.setattr(drop_run, "arm", killed)
    with pytest.raises(KeyboardInterrupt):
        dropped(campaign, Liar(Lie()))
    assert stay_out(campaign.folder) is not None


def test_a_whole_drop_leaves_it_and_the_next_is_refused(campaign):
    dropped(campaign, Liar(Lie()))
    (campaign.folder / "drop.h5").unlink()
    board = Liar(Lie())
    with pytest.raises(RefusedError, match=STAY_OUT):
        dropped(campaign, board)
    assert "arm" not in board.heard
    confirm_at_rest(campaign.folder, "A. Rigger")
    dropped(campaign, Liar(Lie()))


def test_a_board_that_refuses_and_is_safe_keeps_nobody_out(campaign):
    with pytest.raises(RefusedError):
        dropped(campaign, Liar(Lie({"arm": refuses(reasons=[3])})))
    assert stay_out(campaign.folder) is None


def test_a_board_whose_answer_to_arm_is_lost_keeps_people_out(campaign):
    with pytest.raises(Exception, match="arm"):
        dropped(campaign, Liar(Lie({"arm": lambda answer: None})))
    assert stay_out(campaign.folder) is not None


def test_a_drop_that_was_called_off_while_armed_keeps_people_out(campaign):
    class Stops(SilentCrew):
        def armed(self, by_hand):
            raise ValueError("the display is gone")

    with pytest.raises(AbortedError):
        dropped(campaign, Liar(Lie()), Stops())
    assert stay_out(campaign.folder) is not None


def test_what_cannot_be_noted_is_not_armed(campaign):
    (campaign.folder / FILE_NAME).mkdir()
    board = Liar(Lie())
    with pytest.raises(CampaignError):
        dropped(campaign, board)
    assert "arm" not in board.heard
    assert "ABORT" in board.heard


def test_an_earlier_drop_stays_open(campaign):
    folder = campaign.folder
    note_armed(folder, "one.h5")
    note_armed(folder, "two.h5")
    note_not_armed(folder, "refused")
    assert stay_out(folder).about == "one.h5"
    note_held(folder)
    assert stay_out(folder).about == "one.h5"
    require_looked(folder, "A. Rigger")
    require_looked(folder)
    note_held(folder)
    assert "still held" in stay_out(folder).about


@pytest.mark.parametrize("by", ["", " ", "\u3164"])
def test_nobody_looked_without_a_name(campaign, by):
    note_armed(campaign.folder, "one.h5")
    with pytest.raises(CampaignError):
        confirm_at_rest(campaign.folder, by)
    with pytest.raises(RefusedError):
        require_looked(campaign.folder, by)
    assert stay_out(campaign.folder) is not None


def test_a_line_that_cannot_be_read_lets_nobody_in(campaign):
    (campaign.folder / FILE_NAME).write_text('{"utc": "2026-11-27T00:00:00Z", "kind": "fine"}\n')
    for ask in (stay_out, require_looked):
        with pytest.raises(CampaignError, match="line 1"):
            ask(campaign.folder)


@pytest.mark.parametrize(
    "given",
    [
        ("drop", "--port", "socket://127.0.0.1:9", "--yes"),
        ("check", "--port", "socket://127.0.0.1:9", "--by", "A. Rigger", "--with", "B. Second"),
    ],
)
def test_commands_are_refused_until_somebody_looked(campaign, capsys, given):
    note_armed(campaign.folder, "one.h5")
    status, _, err = said(capsys, *given)
    assert status == 1
    assert STAY_OUT in err
    assert "--looked-by NAME" in err
    assert run([*given, "--looked-by", " "]) == 2
    assert stay_out(campaign.folder) is not None
    _, _, err = said(capsys, *given, "--looked-by", "C. Looker")
    assert STAY_OUT not in err
    assert stay_out(campaign.folder) is None
    assert "C. Looker" in (campaign.folder / FILE_NAME).read_text()
    assert run(["verify"]) == 0


def test_a_script_is_refused_too(campaign):
    note_armed(campaign.folder, "one.h5")
    again = read_campaign(campaign.folder)
    with pytest.raises(RefusedError, match=STAY_OUT):
        permitted(again, SETUP, by="A. Lead", reason="hurry", say=print)


def test_ctrl_c_while_people_must_stay_out_says_so(campaign):
    path = campaign.folder / "campaign.toml"
    path.write_text(path.read_text().replace('\nport = ""', '\nport = "socket://127.0.0.1:9"'))
    order = DropOrder(lambda: read_campaign(campaign.folder), DropAsked(DropRequest()), "", None)
    told = SimpleNamespace(
        closing=False, words=lambda wait_s: told.stop.came.append("SIGINT") or []
    )
    told.stop = SimpleNamespace(came=[])
    note_armed(campaign.folder, "one.h5")
    ended = order._until_confirmed(told, None, told.stop, SimpleNamespace(problem=""))
    assert STAY_OUT in ended
    assert "--looked-by NAME" in ended


def test_a_desk_that_starts_again_knows(campaign):
    folder = campaign.folder
    path = folder / "campaign.toml"
    text = path.read_text().replace('\nport = ""', '\nport = "socket://127.0.0.1:9"')
    path.write_text(text)
    note_armed(folder, "one.h5")
    desk = Desk(folder)
    crew = Visit(folder, desk=desk)
    page = crew.get("/drop").text
    assert "STAY OUT" in page
    assert "NOT ARMED" not in page
    refused = crew.enter("/drop", {})
    assert refused.status_code == 400
    assert STAY_OUT in refused.text
    typed = {"do": "begin", "by": "A. Rigger", "mass_kg": "9", "mount": "beam-1"}
    for address in ("/checklist", "/calibrate/live", "/calibrate/hanging", "/proof/live"):
        assert STAY_OUT in crew.enter(address, typed).text, address
    assert desk.orders.standing is None
    assert crew.enter("/drop/looked", {"by": ""}).status_code == 400
    assert crew.enter("/drop/looked", {"by": "A. Rigger"}).status_code == 303
    assert stay_out(folder) is None
    assert "NOT ARMED" in crew.get("/drop").text
