"""A desk without a browser: its pages behind its guard, and campaigns to lay on it."""

import html.parser
import re
from dataclasses import replace

import made_records
from kites import TABLE
from starlette.testclient import TestClient

from tautlog.cli import run
from tautlog.desk.admission import Admission, Role
from tautlog.desk.app import pages_of
from tautlog.desk.desk import Desk
from tautlog.desk.guard import Guard, Place
from tautlog.display.quick_look import mark_new
from tautlog.model.timestamp import today

PORT = 8642
HERE = f"http://127.0.0.1:{PORT}"
HOSTILE = '<script>alert("x")</script>{{7*7}}"><img src=x onerror=alert(1)>'
PAGES = (
    *(
        "/",
        "/steps",
        "/plan",
        "/plan/reckoned",
        "/plan/climb",
        "/calibrate",
        "/calibrate/live",
        "/calibrate/hanging",
        "/proof",
        "/proof/live",
        "/checklist",
        "/drops",
        "/drops?rehearsed=yes",
    ),
    *("/drop", "/drop/stands", "/drop/trace", "/ledger", "/deviations", "/report"),
)

PIECES = ("/plan/reckoned", "/plan/climb", "/drop/stands", "/drop/trace")  # parts of pages


def guarded(folder, role=Role.CREW, desk=None):
    """The guarded pages of a folder's desk, and who lets in."""
    admission = Admission(role, PORT)
    place = Place(frozenset({f"127.0.0.1:{PORT}", f"localhost:{PORT}"}))
    return Guard(pages_of(desk or Desk(folder)), admission, place), admission


def stranger(folder, role=Role.CREW, desk=None):
    """A browser without a session, and the link's secret."""
    app, admission = guarded(folder, role, desk)
    return TestClient(app, base_url=HERE, raise_server_exceptions=True), admission.secret


class Visit:
    """A browser that came by the link."""

    def __init__(self, folder, role=Role.CREW, desk=None):
        self.client, secret = stranger(folder, role, desk)
        assert self.client.get(f"/enter?key={secret}").status_code == 200

    def get(self, address):
        return self.client.get(address)

    def token(self):
        for address in ("/ledger", "/drops/one"):  # a broken campaign has no form for its ledger
            found = re.search(r'name="token" value="([^"]+)"', self.get(address).text)
            if found:
                return found[1]
        return ""

    def enter(self, address, fields, *, files=None, headers=None, token=None):
        """Post a form as a page of the desk does."""
        fields = {"token": self.token() if token is None else token, **fields}
        return self.client.post(
            address,
            data=fields,
            files=files,
            headers={"origin": HERE} if headers is None else headers,
            follow_redirects=False,
        )


class Seen(html.parser.HTMLParser):
    """What a browser would make of a page: its tags with their attributes, and its words."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.words = [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


def campaign_in(folder):
    """The example's campaign, calibrated today, its mount proven."""
    assert run(["init", str(folder)]) == 0
    path = folder / "campaign.toml"
    path.write_text(path.read_text().replace('\ndate = ""', f'\ndate = "{today()}"', 1))
    return folder


def drop_in(folder, name, **changes):
    """A marked record of that campaign."""
    setup = replace(made_records.SETUP, **changes.pop("setup", {}))
    path = made_records.made(folder / f"{name}.h5", setup=setup, **changes)
    mark_new(path)
    return path


def points(rows=None):
    """The fields of a calibration by hand, as the page sends them."""
    typed = [line.split(",") for line in TABLE.split()[1:]] if rows is None else rows
    fields = {"load_is": "load_n", "reading_is": "volt"}
    for number, (load, volt) in enumerate(typed):
        fields |= {f"load{number}": load, f"read{number}": volt}
    return fields
