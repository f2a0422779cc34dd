"""A drop from the desk's page: looked at, called off, armed by the phrase, judged, confirmed."""

import asyncio
import base64
import contextlib
import re
import threading

import numpy as np
import pytest
from desks import Visit
from kites import kite_in
from rehearsed import played

from tautlog.campaign.zone import stay_out
from tautlog.desk.admission import Role
from tautlog.desk.desk import Desk
from tautlog.desk.drop_order import KIND
from tautlog.desk.drop_stands import DropStands, Phase
from tautlog.desk.drop_trace import DropTrace
from tautlog.desk.feed import Feed
from tautlog.desk.orders import Orders
from tautlog.drop.recovery import LEFT_ALONE_S
from tautlog.errors import CampaignError, LinkError
from tautlog.model.calibration import Calibration
from tautlog.model.stream import Block, Instrument
from tautlog.model.trace import DropSetup
from tautlog.record import open_record
from tautlog.rehearsal.process import BoardProcess

SOON_S = 60.0
ANSWERS_S = 5.0
SHORT = {"countdown_s": "1", "record_s": "2"}


@pytest.fixture
def kite(tmp_path, monkeypatch):
    return kite_in(tmp_path, monkeypatch)


@contextlib.contextmanager
def board_for(kite, fault=None):
    """A rehearsed board at the campaign's port."""
    rig = played(fault)
    with BoardProcess(rig, speed=1.0, serial="rehearsal-1") as board:
        at_port(kite, board.url)
        yield board


def at_port(kite, url):
    """Set the board's port in the campaign."""
    path = kite / "campaign.toml"
    text, number = re.subn(r'\nport = ".*?"', f'\nport = "{url}"', path.read_text(), count=1)
    assert number == 1
    path.write_text(text)


class Driver:
    """Pages in a thread of their own; orders are carried out in this one, as at a desk."""

    def __init__(self, kite):
        self.desk = Desk(kite)
        self.crew = Visit(kite, desk=self.desk)
        self.other = Visit(kite, desk=self.desk)

    def drive(self, steps):
        failed, until = [], threading.Event()

        def run():
            try:
                steps()
            except BaseException as problem:
                failed.append(problem)
                with contextlib.suppress(CampaignError):
                    self.desk.orders.interrupt()
            finally:
                until.set()

        thread = threading.Thread(target=run)
        thread.start()
        self.desk.orders.attend(until)
        thread.join(SOON_S)
        if failed:
            raise failed[0]

    def until(self, holds):
        """The standing, once it is as wanted."""
        for _ in range(int(SOON_S / 0.02)):
            standing = self.desk.orders.standing
            if standing is not None and holds(standing):
                return standing
            threading.Event().wait(0.02)
        raise AssertionError(f"never: {self.desk.orders.standing}")

    def phase(self, wanted):
        return self.until(lambda one: one.under_way and one.content.phase is wanted)

    def begin(self, **fields):
        answer = self.crew.enter("/drop", SHORT | fields)
        assert answer.status_code == 303, answer.text
        return self.until(lambda one: bool(one.content.board) or not one.under_way)

    def say(self, do, visit=None, **fields):
        return (visit or self.crew).enter("/drop/word", {"do": do, **fields})

    def ended(self):
        return self.until(lambda one: not one.under_way)


def test_a_whole_drop(kite):
    driver = Driver(kite)
    heard, typed = [], []

    def steps():
        found = driver.begin(note="from the desk").content
        assert not found.refused, (found.contacts, found.withholds)
        assert ("latched", True) in found.contacts
        assert driver.say("ready").status_code == 303
        driver.phase(Phase.PHRASE)
        for page in (driver.crew, driver.other):
            assert "TYPE TO ARM" in page.get("/drop").text
        assert 'name="phrase"' not in driver.other.get("/drop").text
        refused = driver.say("arm", phrase="clear to go")
        assert "not armed" in refused.text
        refused = driver.say("arm", driver.other, phrase="clear to drop")
        assert "another browser began this" in refused.text
        assert driver.desk.orders.standing.content.phase is Phase.PHRASE
        for near in ("Clear to drop", "CLEAR TO DROP", "clear  to drop", "clear to drop."):
            assert "letter by letter" in driver.say("arm", phrase=near).text
        both = [
            threading.Thread(
                target=lambda: typed.append(driver.say("arm", phrase=" clear to drop ").status_code)
            )
            for _ in range(2)
        ]
        for one in both:
            one.start()
        driver.phase(Phase.ARMED)
        for one in both:
            one.join(ANSWERS_S)
        assert sorted(typed) == [303, 409]  # found by an attack: the second waited for the end
        late = driver.say("arm", phrase="clear to drop")
        assert late.status_code == 409
        assert "hears nothing now" in late.text
        assert driver.desk.orders.standing.content.phase is Phase.ARMED  # answered at once
        assert "CALL OFF" in driver.crew.get("/drop").text
        # Found by an attack: another page read the board and took it from the drop.
        taken = driver.other.enter("/checklist", {"do": "measure"})
        assert "the board is taken: a drop is under way" in taken.text
        driver.phase(Phase.RELEASED)
        heard.extend(driver.crew.get("/drop/trace").json())
        done = driver.phase(Phase.JUDGED).content
        assert done.lines[0].startswith("REHEARSAL: rest")
        text = driver.crew.get("/drop").text
        assert "peak 1" in text, text
        assert text.index("STAY OUT") < text.index("rest:") < text.index("peak 1")
        assert "say by name" in driver.say("confirm").text
        assert driver.say("confirm", by="A. Rigger").status_code == 303
        assert "A. Rigger says" in driver.ended().ended
        assert stay_out(kite) is None

    with board_for(kite):
        driver.drive(steps)
    (path,) = kite.glob("*.h5")
    record = open_record(path)
    assert record.setup.note == "from the desk"
    assert record.status == "complete"
    assert path.with_suffix(".png").exists()
    assert [one["number"] for one in heard] == list(range(1, len(heard) + 1))


@pytest.mark.parametrize("bad", ["NOT LATCHED", "KEY OFF"])
def test_an_open_contact_withholds_arming(bad):
    """Found by an attack: "nothing withholds arming" stood beside KEY OFF."""
    stands = DropStands(Phase.LOOK, DropSetup(), contacts=(("latched", True), (bad, False)))
    assert stands.refused
    assert not DropStands(Phase.LOOK, DropSetup(), contacts=(("latched", True),)).refused


@pytest.mark.wide
def test_what_is_called_off_is_not_armed(kite):
    driver = Driver(kite)

    def steps():
        for phase, ways in (
            (Phase.LOOK, ("stop", "button")),
            (Phase.PHRASE, ("stop", "button")),
            (Phase.ARMED, ("button", "other button")),
        ):
            for way in ways:
                driver.begin(looked_by="A. Rigger")
                if phase is not Phase.LOOK:
                    driver.say("ready")
                    driver.phase(Phase.PHRASE)
                if phase is Phase.ARMED:
                    driver.say("arm", phrase="clear to drop")
                    driver.phase(Phase.ARMED)
                if way == "stop":
                    driver.say("stop")
                else:
                    visit = driver.other if way == "other button" else driver.crew
                    assert visit.enter("/drop/call-off", {}).status_code == 303
                ended = driver.ended().ended
                assert "called off" in ended or "not armed" in ended, (phase, way, ended)
                assert "Ctrl-C" not in ended  # nobody was at the terminal
                assert "NOT DONE" in driver.crew.get("/drop").text
        assert "nothing is under way" in driver.crew.enter("/drop/call-off", {}).text
        refused = driver.crew.enter("/drop", SHORT)  # the last one was called off while armed
        assert refused.status_code == 400
        assert "who looked at sled" in refused.text

    with board_for(kite):
        driver.drive(steps)
    left = [open_record(path) for path in kite.glob("*.h5")]
    assert len(left) == 2  # armed, and called off: what was stored stays
    assert not any(one.released for one in left)


def test_what_the_board_still_holds_is_fetched(kite):
    """The cable is out after the release; the next order finds the event and fetches it."""
    driver = Driver(kite)

    def steps():
        driver.begin()
        driver.say("ready")
        driver.phase(Phase.PHRASE)
        driver.say("arm", phrase="clear to drop")
        assert "fetch it with `tautlog recover`" in driver.ended().ended
        while not driver.begin(looked_by="A. Rigger").under_way:
            assert "the board is recording" in driver.ended().ended
            threading.Event().wait(LEFT_ALONE_S)
        driver.say("stop")
        assert "Nothing was armed" in driver.ended().ended
        assert "who looked at sled" in driver.crew.enter("/drop", SHORT).text
        driver.begin(looked_by="A. Rigger")
        driver.crew.enter("/drop/call-off", {})
        assert "Nothing was armed" in driver.ended().ended
        assert driver.begin(looked_by="A. Rigger").content.phase is Phase.HELD
        text = driver.crew.get("/drop").text
        assert "still holds the event" in text
        assert "Fetch the event" in text
        assert "Fetch the event" not in driver.other.get("/drop").text
        assert "fetch it, or end this" in driver.say("arm", phrase="clear to drop").text
        assert driver.say("fetch").status_code == 303
        done = driver.phase(Phase.JUDGED).content
        assert any("completing" in line for line in done.said)
        assert any("from the board's memory" in line for line in done.said)
        assert "STAY OUT" in driver.crew.get("/drop").text
        driver.say("confirm", by="A. Rigger")
        driver.ended()

    with board_for(kite, "cable-pulled"):
        driver.drive(steps)
    (path,) = kite.glob("*.h5")
    record = open_record(path)
    assert record.status == "recovered"
    assert record.marks


@pytest.mark.wide
def test_what_is_said_too_early_answers_nothing(kite):
    """A confirmation sent while armed must not end "stay out"; nor a phrase before it is asked."""
    driver = Driver(kite)

    def steps():
        driver.begin()
        assert "first look at the board" in driver.say("arm", phrase="clear to drop").text
        driver.say("ready")
        driver.phase(Phase.PHRASE)
        driver.say("arm", phrase="clear to drop")
        driver.phase(Phase.ARMED)
        early = threading.Thread(target=driver.say, args=("confirm",), kwargs={"by": "B. Early"})
        early.start()
        driver.phase(Phase.JUDGED)
        early.join(SOON_S)
        assert driver.desk.orders.standing.under_way
        assert driver.desk.orders.standing.content.phase is Phase.JUDGED
        driver.say("confirm", by="A. Rigger")
        assert "A. Rigger says" in driver.ended().ended

    with board_for(kite):
        driver.drive(steps)


def test_the_button_never_ends_a_desk_that_has_not_begun(kite):
    orders = Orders(Feed())
    orders._attended = True
    orders.give(Idle(lambda told: ""), "me", DropStands(Phase.LOOK, DropSetup()))
    with pytest.raises(CampaignError, match="nothing is under way that could be called off"):
        orders.interrupt()  # the order waits still: the main thread does not listen


def test_one_order_at_a_time_and_the_desk_survives_its_failure(kite):
    driver = Driver(kite)
    at_port(kite, "socket://127.0.0.1:9")

    def steps():
        driver.begin()
        assert "socket://127.0.0.1:9" in driver.ended().ended
        assert "Stay out until people have looked" in driver.crew.get("/drop").text

    driver.drive(steps)


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"mass_kg": "-9"}, "mass_kg"),
        ({"height_m": "nine"}, "height_m"),
        ({"override_by": "A. Lead"}, "an override needs both"),
        ({"mount": "no such"}, "no such"),
        ({"countdown_s": "-1"}, "countdown_s"),
    ],
)
def test_what_cannot_be_is_not_ordered(kite, fields, says):
    at_port(kite, "socket://127.0.0.1:9")
    desk = Desk(kite)
    answer = Visit(kite, desk=desk).enter("/drop", fields)
    assert answer.status_code == 400
    assert says in answer.text
    assert desk.orders.standing is None


def test_without_anybody_who_carries_out_nothing_is_ordered(kite):
    answer = Visit(kite).enter("/drop", {})
    assert "no port is stated" in answer.text
    at_port(kite, "socket://127.0.0.1:9")
    answer = Visit(kite).enter("/drop", {})
    assert answer.status_code == 400
    assert "nobody carries out orders" in answer.text


@pytest.mark.parametrize("address", ["/drop", "/drop/word", "/drop/call-off"])
def test_watchers_order_nothing(kite, address):
    watcher = Visit(kite, role=Role.WATCHER)
    assert watcher.get("/drop").status_code == 200
    assert watcher.enter(address, {"do": "arm", "token": "x"}).status_code == 403


BOARD = Instrument("0", "board", "serial", 1000.0, 1, ("force",), 10, 4)


def test_the_trace_is_every_sample_and_parts_at_a_hole():
    trace = DropTrace(Feed())
    trace.begin(BOARD, Calibration())
    for number in (5, 6, 8):
        counts = np.arange(10 * number, 10 * number + 10, dtype=np.uint16)[:, None]
        trace.take(Block(number, 0, 0, 0, counts))
    trace.end()
    told = [one.told() for one in trace.pieces()]
    starts = [one["start"] for one in told]
    assert starts == [pytest.approx(0.05), pytest.approx(0.08)]
    first, second = (np.frombuffer(base64.b64decode(one["force"]), "<f4") for one in told)
    assert (first.size, second.size) == (20, 10)
    assert first.mean() == pytest.approx(0.0, abs=1e-3)
    counts = np.r_[50:70]
    slope = Calibration().force_n(counts, 1)
    assert np.allclose(first, slope - slope.mean(), atol=1e-3)


def test_nobody_waits_for_a_page_that_reads_nothing():
    feed = Feed()
    reader = feed.listen()
    with contextlib.closing(_stuck(reader)):
        trace = DropTrace(feed)
        trace.begin(BOARD, Calibration())
        counts = np.zeros((10, 1), np.uint16)
        for number in range(20_000):
            trace.take(Block(number, 0, 0, 0, counts))
        trace.end()
        assert feed.readers == 1
    assert sum(one.force_n.size for one in trace.pieces()) <= 12_000 + 120


def _stuck(reader):
    """A page that came and never reads on."""
    loop = asyncio.new_event_loop()
    loop.run_until_complete(anext(reader))
    return _Closing(loop, reader)


class _Closing:
    def __init__(self, loop, reader):
        self._loop, self._reader = loop, reader

    def close(self):
        self._loop.run_until_complete(self._reader.aclose())
        self._loop.close()


class Idle:
    """An order that does as it is told."""

    kind = KIND

    def __init__(self, do):
        self._do = do

    def carry_out(self, told):
        return self._do(told)


def test_a_mistake_in_an_order_never_ends_the_desk():
    orders = Orders(Feed())
    until = threading.Event()
    endings, said = [], []

    def fails(problem):
        def do(told):
            raise problem

        return do

    def steps():
        for problem in (ValueError("x"), LinkError("the cable is out"), KeyboardInterrupt()):
            content = DropStands(Phase.LOOK, DropSetup())
            for _ in range(1000):
                with contextlib.suppress(CampaignError):
                    orders.give(Idle(fails(problem)), "me", content)
                    break
                threading.Event().wait(0.005)
            while orders.standing.under_way:
                threading.Event().wait(0.005)
            endings.append(orders.standing.ended)
        until.set()

    thread = threading.Thread(target=steps)
    thread.start()
    orders.attend(until, said.append)
    thread.join()
    assert said == [f"{KIND}: {one}" for one in endings]  # whoever sits at the terminal reads it
    assert endings == [
        "the desk made a mistake (ValueError)",
        "the cable is out",
        "stopped by Ctrl-C at the desk's terminal",
    ]
