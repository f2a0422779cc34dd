"""A table of lies, each told to the command that it concerns: an error of ours, in bounded time.

Whatever a board says, nothing ends with a traceback or not at all; a record that lacks blocks is
not sealed as whole without a word; a board forgets its event only when all of it is on disk; and
one that may be armed is told ABORT.
"""

import pytest
from fakes import at_desk
from fakes.liars import IN_CAMPAIGN, WAYS, Lie, campaign_at, meet
from fakes.lies import LIES

# Of those that take a second or more each: one of each kind.
OF_EACH_KIND = {
    "block: a million ahead for ever, and the oldest",
    "block: a million ahead in a recovery",
    "block: 2 left out in a recovery, and told as gone",
    "block: none from the release on",
    "block: one in five seconds",
    "status frame: head a million ahead",
    "status frame: recording for ever",
    "status frame: safe while a hand is waited for",
    "event: block 2^32 - 1",
    "silence: but for statuses, while a hand is waited for",
    "release: told while it only armed",
    "bring-up, a serial that moves",
    "drop command, blocks a million ahead",
    "boards, hello: serial moves the terminal",
    "desk calibration, no blocks",
    "desk hanging, stream: deep JSON",
    "desk pull, blocks a million ahead",
    "desk drop, no statuses",
    "desk held, fetch: head is 1e30",
}


def is_quick(name, way):
    if way == "health" or name in OF_EACH_KIND:
        return True
    return name.startswith(("arm: ", "fetch: ", "status: ", "shunt: ")) and "missing" not in name


QUICK = {name: one for name, one in LIES.items() if is_quick(name, one[0])}


@pytest.fixture
def met(tmp_path, monkeypatch):
    def met(way, lie):
        if way in IN_CAMPAIGN:
            campaign_at(tmp_path)
        return meet(lie, way, tmp_path, monkeypatch)

    return met


def check(one, met):
    way, lie = one
    came = met(way, lie)
    assert not came.traced, came.said
    assert not came.hung, came.said
    assert not came.wrong, came.said


@pytest.mark.parametrize("one", QUICK.values(), ids=QUICK)
def test_a_lie(one, met):
    check(one, met)


@pytest.mark.long
@pytest.mark.parametrize("one", LIES.values(), ids=LIES)
def test_every_lie(one, met):
    check(one, met)


@pytest.mark.parametrize(
    "way",
    [
        *("drop", "hand", "recover", "health", "shunt", "boards", "desk held"),
        *at_desk.WAYS,
    ],
)
def test_a_board_that_tells_the_truth_is_believed(way, met):
    came = met(way, Lie(may_pass=True))
    assert not came.failed, came.said
    assert not came.hung, came.said
    assert not came.traced, came.said
    assert not came.wrong, came.said


def test_how_many_there_are(record_testsuite_property):
    record_testsuite_property("lies of a board", len(LIES))
    ways = {way for way, _ in LIES.values()}
    assert len(LIES) >= 560
    assert len(QUICK) >= 105
    assert ways == set(WAYS)


@pytest.mark.parametrize("state", ["armed", "recording"])
def test_a_board_that_is_busy_is_not_called_a_stranger(met, state):
    """`boards --ask` said that an armed board has no firmware of ours."""

    def busy(answer):
        return {"to": answer["to"], "ok": False, "state": state}

    said = met("boards", Lie({"hello": busy}, may_pass=True)).said
    assert f"tautlog firmware, {state}" in said
    assert "no tautlog firmware" not in said
