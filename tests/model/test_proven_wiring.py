"""The guard of the wires: what proves them, and everything that does not."""

import json
from dataclasses import asdict, replace

import pytest
from brought_up import BOARD, DELIVERED, REHEARSED, WIRING, bring_up, step_done
from hypothesis import given
from hypothesis import strategies as st
from intended_drops import GOOD, PROVEN
from kites import change, kite_in, refusal

from tautlog.campaign.bring_ups import FILE_NAME, add_step, proving_of, read_bring_up
from tautlog.campaign.campaign import read_campaign
from tautlog.cli import run
from tautlog.errors import CampaignError, JsonError
from tautlog.model.commissioning import Parts
from tautlog.model.commissioning_steps import steps_for
from tautlog.model.proven_wiring import NOT_AS_EXPECTED, NOT_DONE, BoardSeen, StepDone, unproven
from tautlog.model.wire_faults import FAULTS, METER, TRIED, fault_table, told_of
from tautlog.model.wiring import SIGNALS, Fitted, read_wiring, wiring_of
from tautlog.planning.gate import refusals

EVERYTHING = Fitted("yes", "yes", "yes", "yes", "yes", "emergency stop, zone gate")
REAL_LATER = replace(BOARD, wiring=replace(WIRING, pins=DELIVERED | {"lamp": 6}).text)


def without(name):
    return replace(PROVEN, done=tuple(one for one in PROVEN.done if one.step != name))


def test_a_whole_bring_up_of_this_board_proves_it():
    assert unproven(PROVEN) == ""
    assert refusals(GOOD) == ()


@pytest.mark.parametrize(
    ("proving", "says"),
    [
        (replace(PROVEN, done=()), "nobody has opened and shorted each wire"),
        (replace(PROVEN, unread="line 3 is torn"), "cannot be read, so that what failed is not"),
        (without("key-pole"), "missing: key-pole"),
        (replace(PROVEN, board=REHEARSED), "rehearsal-1, was never brought up, only E660C062"),
        (replace(PROVEN, board=replace(BOARD, serial="E2")), "this board, E2, was never"),
        (replace(PROVEN, board=replace(BOARD, wiring="")), "does not tell its pins"),
        (replace(PROVEN, board=REAL_LATER), "lamp was GP14, is GP6"),
        (
            replace(
                PROVEN,
                board=replace(BOARD, wiring=replace(WIRING, channels={"force": 27}).text),
            ),
            "channel 1 was 'force' on GP26, is 'force' on GP27",
        ),
        (replace(PROVEN, parts=Parts(shunt=True)), "missing: shunt"),
        (replace(PROVEN, parts=Parts(Fitted(article_wire="yes"))), "missing: article-wire"),
        (replace(PROVEN, parts=Parts(Fitted(driver="no"))), "states no driver"),
        (
            replace(
                PROVEN,
                done=(*PROVEN.done, step_done("pull", result=NOT_AS_EXPECTED, why="no move")),
            ),
            "pull is not as expected (no move)",
        ),
        (
            replace(PROVEN, done=(*PROVEN.done, step_done("lamp", result=NOT_DONE, why="no bulb"))),
            "lamp is not done (no bulb)",
        ),
    ],
)
def test_everything_else_refuses_and_says_what_and_how_to_mend_it(proving, says):
    assert says in unproven(proving)
    (found,) = refusals(replace(GOOD, proving=proving))
    assert (found.code, found.final) == ("wiring-unproven", False)
    assert says in found.text
    assert "\n" not in found.text


def test_a_step_counts_as_it_came_out_last():
    bad = step_done("pull", result=NOT_AS_EXPECTED, why="no move")
    assert unproven(replace(PROVEN, done=(bad, *PROVEN.done))) == ""
    assert "pull is" in unproven(replace(PROVEN, done=(*PROVEN.done, bad)))
    again = (*PROVEN.done, bad, step_done("pull"))
    assert unproven(replace(PROVEN, done=again)) == ""


def test_a_wiring_that_went_and_came_back_is_tried_again():
    """Somebody moved a wire twice: what was proven before that is not known to hold."""
    moved = step_done("rest", REAL_LATER)
    done = (*PROVEN.done, moved, step_done("rest"))
    assert "missing: coil-out" in unproven(replace(PROVEN, done=done))
    # Another board in between takes nothing away.
    other = (*PROVEN.done, step_done("rest", REHEARSED))
    assert unproven(replace(PROVEN, done=other)) == ""


def test_the_interpreter_of_the_board_may_change():
    newer = replace(BOARD, board="Raspberry Pi Pico with RP2040, MicroPython 1.29")
    assert unproven(replace(PROVEN, board=newer)) == ""


def test_a_hand_needs_no_driver():
    parts = Parts(Fitted(driver="no"))
    assert unproven(replace(PROVEN, parts=parts, driven=False)) == ""


def test_optional_parts_are_steps_only_where_they_are_stated():
    few = {step.name for step in steps_for(Parts(Fitted(lamp="no", driver="no")), WIRING)}
    back = replace(WIRING, readbacks={"stop": 2, "gate": 3})
    wired = replace(back, channels={"force": 26, "force right": 27, "acceleration": 28})
    many = [step.name for step in steps_for(Parts(EVERYTHING, shunt=True), wired)]
    assert len(many) == len(set(many))
    assert few < set(many) | {"hand-release"}
    assert {
        *("lamp", "flash", "drive", "enable", "key-pole", "shunt", "article-wire", "mount-wire"),
        *("stop", "gate", "pull force right", "wire force right", "wire acceleration"),
        "chain",
    } <= set(many) - few
    # The coil is off before anything else, and whatever arms comes after it.
    for parts in (Parts(), Parts(EVERYTHING, shunt=True)):
        assert steps_for(parts, wired)[0].name == "coil-out"


def test_a_contact_that_the_board_reads_back_needs_no_pulse():
    """With it open the board does not arm: a dark test lamp would show nothing."""
    names = {
        step.name
        for step in steps_for(
            Parts(Fitted(contacts="gate, zone")), replace(WIRING, readbacks={"gate": 3})
        )
    }
    assert {"gate", "contact zone", "chain"} <= names
    assert "contact gate" not in names
    wired = replace(WIRING, readbacks={"stop": 2, "gate": 3})
    for parts in (Parts(EVERYTHING), Parts(Fitted(contacts="Emergency STOP"))):
        names = {step.name for step in steps_for(parts, wired)}
        assert not [name for name in names if name.startswith("contact ")]
        assert "chain" in names


# What is kept


def test_a_step_must_be_whole():
    for wrong in (
        {"utc": "2099-01-01T00:00:00Z"},
        {"utc": "yesterday"},
        {"by": " "},
        {"serial": ""},
        {"result": "good"},
        {"why": "though it was as expected"},
        {"result": NOT_DONE},
    ):
        with pytest.raises(CampaignError):
            step_done("pull", **wrong)
    for text in ("", "{}", "[]", "null", WIRING.text + " ", WIRING.text.replace("26", "126")):
        with pytest.raises(JsonError):
            step_done("pull", wiring=text)


def test_lines_are_only_added_and_a_torn_one_refuses_until_it_is_replaced(tmp_path, monkeypatch):
    kite = kite_in(tmp_path, monkeypatch)
    path = kite / FILE_NAME
    before = path.read_bytes()
    assert unproven(proving_of(read_campaign(kite))) == ""
    path.write_bytes(before[:-20])
    torn = unproven(proving_of(read_campaign(kite)))
    number = before.count(b"\n")
    assert f"line {number} is not a valid bring-up step" in torn
    assert f"--supersedes {number}" in torn
    mended = step_done("rest-again", REHEARSED, supersedes=number, reason="torn")
    add_step(kite, mended)
    assert unproven(proving_of(read_campaign(kite))) == ""
    assert path.read_bytes().startswith(before[:-20])
    assert read_bring_up(kite)[-1].entry == mended
    with pytest.raises(CampaignError, match="has no entry 999"):
        add_step(kite, replace(mended, supersedes=999))


@pytest.mark.parametrize(
    "line",
    ["{}", "null", "[" * 100_000, json.dumps(asdict(step_done("rest")) | {"result": "fine"})],
    ids=["nothing", "null", "deep", "result"],
)
def test_a_line_that_is_no_step_refuses_every_drop(tmp_path, monkeypatch, capsys, line):
    kite = kite_in(tmp_path, monkeypatch)
    assert refusal(capsys) == ""
    with (kite / FILE_NAME).open("a") as file:
        file.write(line + "\n")
    assert "the bring-up cannot be read" in refusal(capsys)


def test_a_campaign_from_before_is_told_one_line_with_mend_and_override(
    tmp_path, monkeypatch, capsys
):
    kite = kite_in(tmp_path, monkeypatch)
    (kite / FILE_NAME).unlink()
    told = refusal(capsys)
    assert "wiring: nobody has opened and shorted each wire of this rig" in told
    assert "go through `tautlog health --bring-up`" in told
    assert "--override-by" in told
    named = ["--override-by", "R. Lead", "--override-reason", "tried on paper"]
    assert refusal(capsys, *named) == ""
    assert run(["plan"]) == 0
    assert "wiring: nobody" in capsys.readouterr().out


def test_a_part_that_is_stated_later_is_tried_later(tmp_path, monkeypatch, capsys):
    kite = kite_in(tmp_path, monkeypatch)
    change(kite, 'mount_wire = "no"', 'mount_wire = "yes"')
    assert "missing: mount-wire" in refusal(capsys)
    bring_up(kite, BOARD)
    assert refusal(capsys) == ""


# What a board tells

pins = st.lists(st.integers(-1, 29), min_size=len(SIGNALS) + 1, max_size=len(SIGNALS) + 3)
channels = st.lists(st.text(min_size=1, max_size=16), min_size=1, max_size=3, unique=True)


@given(pins, channels, st.integers(0, 1000))
def test_what_a_board_tells_is_read_back_as_it_was(numbers, names, flash_ms):
    text = wiring_of({"pins": numbers, "channels": names, "flash_ms": flash_ms})
    if len(numbers) != len(SIGNALS) + len(names):
        assert text == ""
        return
    made = read_wiring(text)
    assert made.text == text
    assert list(made.channels) == names
    assert made.changes(made) == ()
    other = replace(made, flash_ms=flash_ms + 1)
    assert made.changes(other) == (f"the flash was {flash_ms} ms, is {flash_ms + 1} ms",)


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=4),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=9), inner),
    max_leaves=8,
)


@given(st.dictionaries(st.sampled_from(["pins", "channels", "flash_ms", "readbacks"]), json_values))
def test_nonsense_of_a_board_is_no_wiring(hello):
    text = wiring_of(hello)
    assert text == "" or read_wiring(text).text == text


@given(json_values)
def test_any_other_text_is_an_error_of_ours(value):
    text = json.dumps(value)
    with pytest.raises(JsonError, match="expected what a board tells"):
        read_wiring(text)


def test_readbacks_keep_the_order_of_their_bits():
    hello = {
        "pins": [*DELIVERED.values(), -1, -1, -1, 26],
        "channels": ["force"],
        "flash_ms": 50,
        "readbacks": [["stop", 2], ["gate", 3], ["pin", 4]],
    }
    assert list(read_wiring(wiring_of(hello)).readbacks) == ["stop", "gate", "pin"]


# The table


def test_each_fault_belongs_to_a_step():
    more = {"force left": 26, "force right": 27, "acceleration": 28}
    back = {"stop": 2, "gate": 3, "pin": 4}
    wired = replace(WIRING, channels=more, readbacks=back)
    known = {step.name for step in steps_for(Parts(EVERYTHING, shunt=True), wired)}
    assert {fault.step for fault in FAULTS} <= known | {METER}
    assert not [fault for fault in FAULTS if fault.step == METER and fault.tried == TRIED]
    assert len({(fault.wire, fault.kind) for fault in FAULTS}) == len(FAULTS)
    assert told_of("rest")[0] == "release switch open"
    assert told_of("no such step") == ()
    assert fault_table().count("\n") == len(FAULTS) + 1


def test_each_wire_is_in_the_table_both_ways():
    kinds = {}
    for fault in FAULTS:
        kinds.setdefault(fault.wire, set()).add(fault.kind)
    ways = {"open", "short"}
    for wire in (*DELIVERED, "force", "excitation"):
        assert ways <= kinds[wire], wire


def test_the_record_of_a_step_is_a_line_of_plain_json():
    told = json.loads(json.dumps(asdict(step_done("rest"))))
    assert StepDone(**told) == step_done("rest", utc=told["utc"])
    assert BoardSeen("rehearsal-1", "x", WIRING.text).rehearsed
