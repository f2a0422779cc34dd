"""A desk whose orders are carried out, with a board that a test holds in its hand."""

import contextlib
import threading
from dataclasses import dataclass, field

from desks import HERE, PORT, Visit
from starlette.testclient import TestClient

from tautlog.board.health import Health
from tautlog.desk.admission import Admission, Role
from tautlog.desk.app import pages_of
from tautlog.desk.desk import Desk
from tautlog.desk.guard import Guard, Place
from tautlog.errors import LinkError
from tautlog.model.stream import Instrument

ZERO_V, SLOPE = 0.45, 1000.0
PACE_S = 0.002


@dataclass
class Hand:
    """A board at rest whose reading is in a test's hand; it takes the place of link and session.

    Attributes
    ----------
    volt, noise_v, drift_v : float
        Level, noise, and what the level gains with every reading.
    lost, drive_on, gone, serial : ...
        What is wrong with it, and who it is.
    speed : float
        Seconds of the board's clock from one reading to the next.
    """

    volt: float = ZERO_V
    noise_v: float = 6e-4
    drift_v: float = 0.0
    lost: int = 0
    drive_on: bool = False
    gone: bool = False
    serial: str = "h-1"
    speed: float = 0.5
    script: list = field(default_factory=list)
    now_s: float = 0.0

    def read(self, *_):
        """What `read_health` gives."""
        if self.gone:
            raise LinkError("the cable is out")
        threading.Event().wait(PACE_S)  # the desk's own threads must come in between
        self.volt += self.drift_v
        self.now_s += self.speed
        volt = self.script.pop(0) if self.script else self.volt
        return Health(
            level_v=volt,
            noise_n=0.6,
            noise_v=self.noise_v,
            rail_distance_n=400.0,
            latched=False,
            key_on=False,
            article_whole=True,
            mount_whole=True,
            lost=self.lost,
            lost_now=self.lost,
            ended_s=self.now_s,
            drive_on=self.drive_on,
        )

    def pull(self, force_n):
        """Let a force act."""
        self.volt = ZERO_V + force_n / SLOPE

    def link(self, url):
        """What `SerialLink` gives."""
        if self.gone:
            raise LinkError("there is no port")
        return contextlib.nullcontext(self)

    def session(self, link, **_):
        """What `Session` gives."""
        return self

    @property
    def instrument(self):
        """See `Session`."""
        return Instrument("0.1.0", "a board", self.serial, 62500.0, 8, ("force",), 512, 68)

    def greet(self):
        """See `Session`."""
        if self.gone:
            raise LinkError("nothing answers")
        return self.instrument


def in_hand(monkeypatch, **about):
    """Put a hand in the place of every board."""
    hand = Hand(**about)
    monkeypatch.setattr("tautlog.board.resting.read_health", hand.read)
    for place in ("tautlog.desk.at_board", "tautlog.board.link"):
        monkeypatch.setattr(f"{place}.SerialLink", hand.link)
    for place in ("tautlog.desk.at_board", "tautlog.board.session"):
        monkeypatch.setattr(f"{place}.Session", hand.session)
    return hand


class LiveVisit(Visit):
    """A browser at a desk that others may visit, too."""

    def __init__(self, desk, role=Role.CREW):
        admission = Admission(role, PORT)
        place = Place(frozenset({f"127.0.0.1:{PORT}"}))
        self.client = TestClient(Guard(pages_of(desk), admission, place), base_url=HERE)
        assert self.client.get(f"/enter?key={admission.secret}").status_code == 200

    def until(self, address, word):
        """The page once it says something; it is asked again and again, never slept for."""
        for _ in range(200):
            text = self.get(address).text
            if word in text:
                return text
        raise AssertionError(f"{address} never says {word!r}: {text}")


@contextlib.contextmanager
def attended(folder):
    """A desk of a folder that carries out orders while inside."""
    desk, end = Desk(folder), threading.Event()
    thread = threading.Thread(target=desk.orders.attend, args=(end,))
    thread.start()
    try:
        while not desk.orders._attended:
            thread.join(0.001)
        yield desk
    finally:
        end.set()
        thread.join(20.0)
        assert not thread.is_alive()
