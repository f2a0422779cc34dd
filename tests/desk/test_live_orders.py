"""Live: calibration, hanging check and proof pull at a board, with a reading in the test's hand."""

import io
import json

import pytest
from desks import Seen
from kites import change
from live_desks import ZERO_V, LiveVisit, attended, in_hand

from tautlog.calibrate.kept import standing_files
from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.proofs import read_proofs
from tautlog.cli import run
from tautlog.desk.admission import Role

LIVE, HANG, PULL = "/calibrate/live", "/calibrate/hanging", "/proof/live"
LOADS_KG = (0, 10, 20, 30, 40, 20, 10, 0)
G = 9.80665


@pytest.fixture
def hand(monkeypatch, empty):
    change(empty, 'port = ""', 'port = "socket://nowhere:1"')
    return in_hand(monkeypatch)


@pytest.fixture
def desk(hand, empty):
    with attended(empty) as made:
        yield made


@pytest.fixture
def crew(desk):
    return LiveVisit(desk)


def refused(answer, word):
    assert answer.status_code == 400
    assert word in Seen(answer.text).text


def begin(crew, address, **fields):
    assert crew.enter(address, {"do": "begin", **fields}).status_code == 303
    return steady(crew)


def steady(crew, times=4):
    """Wait until the desk has read so often since now."""
    orders = crew.client.app._app.state.desk.orders
    looks, last = 0, None
    while looks < times:
        found = orders.standing
        assert found.under_way, found.ended
        if found.content.away:
            return
        look = found.content.look
        looks += look is not None and look is not last
        last = look


def take(crew, hand, mass_kg):
    hand.pull(mass_kg * G)
    steady(crew)
    return crew.enter(LIVE, {"do": "take", "mass_kg": str(mass_kg)})


def kept(folder):
    """What is kept, without the instant at which it was kept."""
    files = standing_files(folder)
    return [{**json.loads(file.path.read_text()), "utc": ""} for file in files]


def test_points_are_taken_looked_at_and_kept(crew, hand, empty):
    begin(crew, LIVE)
    for number, mass in enumerate(LOADS_KG, start=1):
        assert take(crew, hand, mass).status_code == 303
        if number not in (2, 3, len(LOADS_KG)):
            continue
        text = Seen(crew.get(LIVE).text).text
        assert f"{mass * G:.3f}" in text
        assert ("These points would give" in text) == (number >= 3)
        assert ("zero at the end" in text) == (number < len(LOADS_KG))
    assert not standing_files(empty)
    assert crew.enter(LIVE, {"do": "keep", "note": "by hand"}).status_code == 303
    assert "and in force" in crew.get(LIVE).text
    made = read_campaign(empty, to_drop=False).calibration
    assert made.newton_per_volt == pytest.approx(1000.0, rel=1e-3)
    assert made.range_n == pytest.approx(40 * G)
    assert made.note == "by hand"


def test_the_same_points_give_the_same_file_by_command(crew, hand, empty, monkeypatch, capsys):
    begin(crew, LIVE)
    for mass in LOADS_KG:
        take(crew, hand, mass)
    crew.enter(LIVE, {"do": "keep"})
    by_desk = kept(empty)
    standing_files(empty)[0].path.unlink()
    monkeypatch.chdir(empty)
    monkeypatch.setattr("sys.stdin", io.StringIO("\n" * 20))
    hand.script = [ZERO_V + mass * G / 1000.0 for mass in LOADS_KG for _ in range(3)]
    given = [one for mass in LOADS_KG for one in ("--load", str(mass))]
    hand.volt = 0.0
    assert run(["calibrate", *given]) == 0, capsys.readouterr().err
    assert kept(empty) == by_desk
    assert hand.script == []


@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({}, "say what hangs"),
        ({"mass_kg": "5", "force_n": "49"}, "not both"),
        ({"mass_kg": "five"}, "not a number"),
        ({"mass_kg": "nan"}, "allowed is"),
        ({"mass_kg": "-1"}, "allowed is"),
        ({"force_n": "1e9"}, "allowed is"),
        ({"mass_kg": "9" * 5000}, "letters"),
        ({"do": "dance"}, "say what is to be done"),
        ({"do": "back", "point": "1", "why": "x"}, "no point 1"),
        ({"do": "back", "point": "\u0661", "why": "x"}, "no point 0"),
        ({"do": "keep"}, "different loads"),
    ],
)
def test_what_makes_no_sense_is_refused(fields, word, crew):
    begin(crew, LIVE)
    refused(crew.enter(LIVE, {"do": "take", **fields}), word)


@pytest.mark.parametrize(
    ("wrong", "word"),
    [
        ({"volt": 3.25}, "the amplifier works between"),
        ({"volt": 0.0}, "the amplifier works between"),
        ({"noise_v": 0.0}, "too still"),
        ({"drift_v": 0.001}, "not steady"),
        ({"lost": 5}, "conversions were lost"),
        ({"drive_on": True}, "the release drive is high"),
    ],
)
def test_a_reading_that_is_wrong_gives_no_point(wrong, word, crew, hand):
    begin(crew, LIVE)
    for name, value in wrong.items():
        setattr(hand, name, value)
    steady(crew)
    refused(crew.enter(LIVE, {"do": "take", "mass_kg": "0"}), word)
    assert "Points" not in Seen(crew.get(LIVE).text).text


def test_a_point_that_is_taken_back_stays_noted(crew, hand, empty):
    begin(crew, LIVE)
    take(crew, hand, 0)
    take(crew, hand, 15)
    refused(crew.enter(LIVE, {"do": "back", "point": "2", "why": " "}), "say why")
    gone = {"do": "back", "point": "2", "why": "the hook <b>touched</b>"}
    assert crew.enter(LIVE, gone).status_code == 303
    refused(crew.enter(LIVE, gone), "no point 2")
    assert "the hook &lt;b&gt;touched" in crew.get(f"{LIVE}/piece").text
    for mass in (*LOADS_KG[1:],):
        take(crew, hand, mass)
    assert crew.enter(LIVE, {"do": "keep"}).status_code == 303
    (content,) = kept(empty)
    assert len(content["points"]) == len(LOADS_KG)
    assert (
        "point 2 was taken back: 147.1 N read 0.5971 V (the hook"
        in (content["calibration"]["note"])
    )


def test_a_board_that_is_pulled_out_loses_no_point(crew, hand, empty):
    begin(crew, LIVE)
    take(crew, hand, 0)
    take(crew, hand, 10)
    hand.gone = True
    text = Seen(crew.until(LIVE, "No board.")).text
    assert "the cable is out" in text
    assert "98.066" in text
    refused(crew.enter(LIVE, {"do": "take", "mass_kg": "20"}), "no board answers")
    hand.gone, hand.serial = False, "other"
    assert crew.enter(LIVE, {"do": "connect"}).status_code == 303
    assert "connect that one" in crew.until(LIVE, "this is board other")
    hand.serial = "h-1"
    assert crew.enter(LIVE, {"do": "connect"}).status_code == 303
    steady(crew)
    for mass in LOADS_KG[2:]:
        assert take(crew, hand, mass).status_code == 303
    assert crew.enter(LIVE, {"do": "keep"}).status_code == 303
    assert len(kept(empty)[0]["points"]) == len(LOADS_KG)


def test_to_stop_keeps_nothing_and_says_what_is_lost(crew, hand, empty):
    begin(crew, LIVE)
    take(crew, hand, 0)
    take(crew, hand, 10)
    assert crew.enter(LIVE, {"do": "stop"}).status_code == 303
    text = Seen(crew.get(LIVE).text).text
    assert "stopped by the crew; 2 points were taken and are not kept" in text
    assert "98.066" in text
    refused(crew.enter(LIVE, {"do": "keep"}), "nothing is under way any more")
    assert not standing_files(empty)
    begin(crew, LIVE)
    assert "98.066" not in crew.get(LIVE).text


def test_only_the_session_that_began_goes_on(crew, desk, hand):
    begin(crew, LIVE)
    take(crew, hand, 0)
    other, watcher = LiveVisit(desk), LiveVisit(desk, Role.WATCHER)
    for do in ("take", "back", "keep", "stop"):
        refused(other.enter(LIVE, {"do": do, "mass_kg": "1"}), "another browser began this")
    refused(other.enter(LIVE, {"do": "begin"}), "a calibration with weights is under way")
    refused(other.enter(PULL, {"do": "begin"}), "the board is taken")
    assert watcher.enter(LIVE, {"do": "take", "mass_kg": "1"}).status_code == 403
    for visit in (other, watcher):
        text = visit.get(LIVE).text
        assert "0.450000" in text
        assert "<form" not in text
        assert "The board is taken" in visit.get(PULL).text
    assert "Take this point" in crew.get(LIVE).text


def test_without_a_port_or_somebody_who_attends_nothing_begins(empty, monkeypatch):
    from tautlog.desk.desk import Desk

    in_hand(monkeypatch)
    with attended(empty) as desk:
        refused(LiveVisit(desk).enter(LIVE, {"do": "begin"}), "set port under [board]")
    change(empty, 'port = ""', 'port = "socket://nowhere:1"')
    refused(LiveVisit(Desk(empty)).enter(LIVE, {"do": "begin"}), "nobody carries out orders")


def test_ctrl_c_ends_it_and_the_desk_goes_on(crew, hand, desk, monkeypatch):
    begin(crew, LIVE)
    take(crew, hand, 0)

    def interrupted(*_):
        monkeypatch.setattr("tautlog.board.resting.read_health", hand.read)
        raise KeyboardInterrupt

    monkeypatch.setattr("tautlog.board.resting.read_health", interrupted)
    text = crew.until(LIVE, "Ctrl-C at the desk")
    assert "1 points were taken and are not kept" in text
    begin(crew, HANG)


def test_a_mistake_of_the_program_ends_the_order_only(crew, hand, monkeypatch):
    begin(crew, LIVE)

    def broken(*_):
        monkeypatch.setattr("tautlog.board.resting.read_health", hand.read)
        raise ZeroDivisionError

    monkeypatch.setattr("tautlog.board.resting.read_health", broken)
    assert "the desk made a mistake (ZeroDivisionError)" in crew.until(LIVE, "a mistake")
    begin(crew, LIVE)


@pytest.mark.parametrize(("read_kg", "word"), [(9.0, "It holds"), (8.0, "It FAILED")])
def test_the_hanging_sled_is_checked(read_kg, word, crew, hand):
    begin(crew, HANG, mass_kg="9")
    refused(crew.enter(HANG, {"do": "hung"}), "slack line first")
    assert crew.enter(HANG, {"do": "slack"}).status_code == 303
    hand.pull(read_kg * G)
    steady(crew)
    assert crew.enter(HANG, {"do": "hung"}).status_code == 303
    text = Seen(crew.get(HANG).text).text
    assert word in text
    assert f"reads {read_kg * G:.1f} N, m g is 88.3 N" in text


def pulled(crew, hand, force_n, seconds):
    """Hold a force for so many seconds of the board's clock."""
    hand.pull(force_n)
    end_s = hand.now_s + seconds
    while hand.now_s < end_s:
        steady(crew, 1)


@pytest.mark.parametrize(
    ("held_s", "after_mm", "word"),
    [(75, "2.0", "proven to 2400 N"), (20, "2.0", "FAILED: held for"), (75, "2.4", "it yields")],
)
def test_a_pull_is_held_and_entered(held_s, after_mm, word, crew, hand, empty):
    begin(crew, PULL, target_n="2400")
    refused(crew.enter(PULL, {"do": "enter", "by": "A. Rigger"}), "slack line first")
    assert crew.enter(PULL, {"do": "zero"}).status_code == 303
    hand.speed = 1.0
    pulled(crew, hand, 2400.0, held_s)
    pulled(crew, hand, 0.0, 5)
    dial = {"before_mm": "2.0", "under_mm": "3.2", "after_mm": after_mm}
    refused(crew.enter(PULL, {"do": "enter", **dial}), "expected a name")
    refused(crew.enter(PULL, {"do": "enter", "by": "A", "under_mm": "3"}), "not read before")
    refused(crew.enter(PULL, {"do": "enter", "by": "A", **dial, "after_mm": "?"}), "not a number")
    assert not read_proofs(empty)
    assert crew.enter(PULL, {"do": "enter", "by": "A. Rigger", **dial}).status_code == 303
    assert word in Seen(crew.get(PULL).text).text
    made = read_proofs(empty)[-1].entry
    assert made.pulled_n == pytest.approx(2400.0)
    assert held_s - 1.0 <= made.held_s <= held_s + 6.0
    assert made.deflection_m == pytest.approx(1.2e-3)
    assert made.set_m == pytest.approx((float(after_mm) - 2.0) / 1e3)
    assert "target 2400 N" in made.note
    assert "extrapolated" in made.note
    mount = read_campaign(empty, to_drop=False).mounts[0]
    assert bool(mount.failed) == ("proven" not in word)
    assert "A. Rigger" in Seen(crew.get("/proof").text).text


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ('date = "2', 'date = "1999-01-01" # "', "too old"),
        (
            "\ngain = 500.0\n# Output voltage without a force.\nzero_v = 0.45",
            "\ngain = 500.0\nzero_v = 0.9",
            "without force",
        ),
        ("square_volt = 0.0", "square_volt = 0.0\nzero_v = 0.9", "without force"),
        ("converter_bits = 12", "converter_bits = 16", "converter has"),
    ],
)
def test_a_cell_that_proves_nothing_begins_no_pull(old, new, word, crew, empty):
    change(empty, f"# {old}" if f"# {old}" in (empty / "campaign.toml").read_text() else old, new)
    begin(crew, PULL)
    refused(crew.enter(PULL, {"do": "zero"}), word)


@pytest.mark.parametrize("address", [LIVE, PULL])
def test_a_simulated_board_counts_only_in_a_campaign_to_practise_with(address, crew, hand, empty):
    hand.serial = "rehearsal-1"
    begin(crew, address)
    assert "the board is simulated" in Seen(crew.until(address, "No board")).text
    change(empty, '# kind = "drops"', 'kind = "rehearsal"')
    assert crew.enter(address, {"do": "connect"}).status_code == 303
    steady(crew)
    assert "REHEARSAL" in crew.get(address).text


def test_a_pull_by_hand_is_that_of_the_command(crew, empty):
    refused(crew.enter("/proof", {"by": "A"}), "needs the force")
    typed = {"pulled_n": "2500", "held_s": "70", "deflection_mm": "1.5", "set_mm": "0"}
    refused(crew.enter("/proof", typed), "expected a name")
    refused(crew.enter("/proof", {**typed, "by": "A", "supersedes": "x", "reason": "y"}), "number")
    refused(crew.enter("/proof", {**typed, "by": "A", "supersedes": "1"}), "say why")
    refused(crew.enter("/proof", {**typed, "by": "A", "pulled_n": "2e9"}), "allowed is")
    assert crew.enter("/proof", {**typed, "by": "A. Rigger"}).status_code == 303
    made = read_proofs(empty)[-1].entry
    assert (made.pulled_n, made.held_s, made.deflection_m, made.set_m) == (2500, 70, 0.0015, 0)
    assert "proven to 2500 N" in Seen(crew.get("/proof").text).text
