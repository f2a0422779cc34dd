"""Contacts of the release chain in whole drops: refused, called off, or an event of the record."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from fakes.crew import SilentCrew
from rehearsed import SPEED, drop, plan_for, played

from tautlog.board.health import read_health
from tautlog.board.link import SerialLink
from tautlog.board.session import Session
from tautlog.campaign.checklist import (
    Checklist,
    add_checklist,
    fresh_checklist,
    measured_checks,
    void_checklist,
    why_void,
)
from tautlog.cli import run
from tautlog.drop.permit import CHECKED, grant
from tautlog.errors import AbortedError, NotReadyError, RefusedError
from tautlog.files.campaign_folder import CHECKLISTS
from tautlog.firmware import wire
from tautlog.model.calibration import Calibration
from tautlog.model.load_path import PathCheck
from tautlog.record import open_record
from tautlog.rehearsal.process import BoardProcess
from tautlog.rehearsal.side_channels import board_changes


def process(rig, **more):
    return BoardProcess(
        rig, speed=SPEED, chip=rig.scene.chip, changes=board_changes(rig.scene), **more
    )


def complete(age_s=0.0):
    made = datetime.now(UTC) - timedelta(seconds=age_s)
    said = (PathCheck("storage", True, "enough"),), (("zone clear", True),)
    return Checklist(f"{made:%Y-%m-%dT%H:%M:%SZ}", "A", "B", *said)


def checked_permit(rig, folder):
    scene = rig.scene
    return grant(scene.setup, scene.calibration, "kite", CHECKED, folder=folder)


@pytest.mark.parametrize(("fault", "name"), [("gate-open", "gate"), ("pin-in", "pin")])
def test_an_open_contact_refuses_before_the_phrase(tmp_path, fault, name):
    """By the one guard; and by the board itself, which a script may ask alone."""
    rig = played(fault)
    crew = SilentCrew()
    with process(rig) as board:
        with pytest.raises(NotReadyError, match=f"{name} open") as caught:
            drop(board, plan_for(rig, tmp_path / "drop.h5"), crew)
        assert len(caught.value.reasons) == 1
        assert "agree" not in crew.told
        with SerialLink(board.url) as link:
            session = Session(link)
            assert [one.name for one in session.greet().readbacks] == [
                *("stop", "gate", "pin", "supply")
            ]
            with pytest.raises(RefusedError, match=f"{name} open"):
                session.ask("arm", by="drive")
            rig.move_readback(name, closed=True)
            assert read_health(session, rig.scene.calibration).open_readbacks == ()
            rig.move_readback("supply", closed=False)
            assert read_health(session, rig.scene.calibration).open_readbacks == ("supply",)
            with pytest.raises(KeyError):
                rig.move_readback("screen", closed=True)
    assert rig.release_at is None
    assert not list(tmp_path.iterdir())


def test_somebody_enters_the_zone_while_armed(tmp_path):
    """Called off, in words, and no release; the checklist is void and says why."""
    add_checklist(tmp_path, complete())
    rig = played("gate-opens")
    permit = checked_permit(rig, tmp_path)
    plan = plan_for(rig, tmp_path / "drop.h5", permit=permit)
    with process(rig) as board:
        with pytest.raises(AbortedError, match="gate open: the zone gate is open") as caught:
            drop(board, plan)
        assert "in state safe, the release drive is low" in str(caught.value)
        assert "begin again with `tautlog check`" in str(caught.value)
        with SerialLink(board.url) as link:
            assert Session(link).greet().state == "safe"
        with pytest.raises(RefusedError, match="used for a drop already"):
            drop(board, plan)
    assert rig.release_at is None
    record = open_record(plan.path)
    assert record.status == "aborted"
    told = {one.name: one.value for one in record.events}
    assert told["readback"] == 2 * wire.READBACKS.index("gate")
    assert told["went-safe"] == wire.READBACK_OPEN + wire.READBACKS.index("gate")
    assert not {"release-driven", "release-opened"} & set(told)
    assert fresh_checklist(tmp_path) is None
    assert why_void(tmp_path) == "gate opened after the check"
    add_checklist(tmp_path, complete(-1))  # a new one is good
    assert fresh_checklist(tmp_path, datetime.now(UTC) + timedelta(seconds=2)) is not None
    assert why_void(tmp_path) == ""


def test_a_gate_found_open_before_arming_voids_the_checklist(tmp_path):
    """Somebody may be at the rig, as when it opens while armed."""
    add_checklist(tmp_path, complete())
    rig = played("gate-open")
    plan = plan_for(rig, tmp_path / "drop.h5", permit=checked_permit(rig, tmp_path))
    with process(rig) as board, pytest.raises(NotReadyError, match="gate open") as caught:
        drop(board, plan)
    assert "begin again with `tautlog check`" in str(caught.value)
    assert len(caught.value.reasons) == 1
    assert fresh_checklist(tmp_path) is None
    assert why_void(tmp_path) == "gate opened after the check"


def test_a_gate_that_opens_between_readiness_and_arming_voids_the_checklist(tmp_path):
    add_checklist(tmp_path, complete())
    rig = played("gate-opens")  # its lamp never comes on
    crew = SilentCrew(agree=lambda: rig.move_readback("gate", closed=False))
    plan = plan_for(rig, tmp_path / "drop.h5", permit=checked_permit(rig, tmp_path))
    with process(rig) as board, pytest.raises(RefusedError, match="gate open") as caught:
        drop(board, plan, crew)
    assert "begin again with `tautlog check`" in str(caught.value)
    assert fresh_checklist(tmp_path) is None


def test_after_the_release_it_is_in_the_record_which_goes_on(tmp_path):
    rig = played("gate-opens-late")
    plan = plan_for(rig, tmp_path / "drop.h5")
    with process(rig) as board:
        outcome = drop(board, plan)
    record = open_record(plan.path)
    assert record.status == "complete"
    assert outcome.missing_blocks == 0
    (event,) = [one for one in record.events if one.name == "readback"]
    assert event.value == 2 * wire.READBACKS.index("gate")
    released = next(one for one in record.events if one.name == "release-opened")
    after_s = (event.sample_index - released.sample_index) / record.instrument.sample_rate_hz
    # It is placed at the beginning of the block that the loop saw it in.
    assert 0.3 - 1024 / 62500 <= after_s < 0.35
    assert "gate opened 0.3 s after the release" in outcome.notes


def test_a_table_of_another_chip_is_refused(tmp_path):
    rig = played("other-chip")
    plan = plan_for(rig, tmp_path / "drop.h5")
    with (
        process(rig) as board,
        pytest.raises(NotReadyError, match=r"with an RP2350, .* of an RP2040"),
    ):
        drop(board, plan)
    assert not plan.path.exists()


# The checklist


def test_the_pin_is_in_at_the_checklist_and_the_gate_closed(tmp_path):
    """Its contact is open then; one that is made is stuck, or the pin is out too early."""
    from tautlog.board.readiness import read_facts

    rig = played("pin-in")
    with process(rig) as board, SerialLink(board.url) as link:
        session = Session(link)
        session.greet()

        def failed():
            setup, calibration = rig.scene.setup, rig.scene.calibration
            facts = read_facts(session, calibration, setup, None, stated_zero_v=None)
            checks = measured_checks(facts, tmp_path, None)
            return {check.text.split(",")[0] for check in checks if not check.holds}

        before = failed()
        rig.move_readback("pin", closed=True)
        assert failed() == before | {"PIN OUT"}
        rig.move_readback("pin", closed=False)
        rig.move_readback("gate", closed=False)
        assert failed() == before | {"gate open"}


def test_a_list_is_void_once_and_stays_as_it_was(tmp_path):
    void_checklist(tmp_path, "nothing to void")
    assert not (tmp_path / CHECKLISTS).exists()
    path = add_checklist(tmp_path, complete())
    text = path.read_text()
    void_checklist(tmp_path, "gate opened")
    void_checklist(tmp_path, "stop opened")
    assert path.read_text() == text
    assert why_void(tmp_path) == "gate opened"
    assert len(list((tmp_path / CHECKLISTS).iterdir())) == 2
    Path(path.with_suffix(".void.json")).write_text("{")
    assert fresh_checklist(tmp_path) is None  # a damaged one voids all the same
    assert "does not say why" in why_void(tmp_path)


# The commands


def test_health_shows_each_and_refuses(capsys):
    rig = played("gate-open")
    with process(rig) as board:
        given = ["health", "--port", board.url, "--link-timeout", "3"]
        assert run(given) == 1
        out, err = capsys.readouterr()
        assert "stop made (GP2), gate OPEN (GP3), pin made (GP4), supply made (GP5)" in out
        assert "gate open, the zone gate is open" in err
        assert run([*given, "--json"]) == 1
        told = json.loads(capsys.readouterr().out)
    assert told["open_readbacks"] == ["gate"]
    assert told["readbacks"][1] == {"name": "gate", "gpio": 3}
    assert [one["code"] for one in told["findings"] if one["refuses"]] == ["gate-open"]


def test_rehearse_plays_somebody_in_the_zone(tmp_path, capsys):
    given = ["--fault", "gate-opens", "--yes", "--speed", "8", "--out", str(tmp_path)]
    assert run(["rehearse", *given]) == 1
    err = capsys.readouterr().err
    assert "drop called off: gate open: the zone gate is open" in err
    assert "Traceback" not in err


def test_a_calibration_of_no_board_needs_no_readbacks():
    """As delivered nothing is read back, and nothing is told."""
    rig = played(None)
    with process(rig) as board, SerialLink(board.url) as link:
        session = Session(link)
        assert session.greet().readbacks == ()
        assert read_health(session, Calibration()).open_readbacks == ()
