"""Campaigns to lay on a desk; the slow ones are made once."""

import shutil

import pytest
from desks import HOSTILE, Visit, campaign_in, drop_in

from tautlog.record import add_inspection


@pytest.fixture(scope="session")
def made_once(tmp_path_factory):
    """A campaign with drops of its own, one of them hostile by name, a rehearsal, and a wreck."""
    folder = campaign_in(tmp_path_factory.mktemp("desk") / "kite")
    drop_in(folder, "one", utc="2026-03-02T10:00:00.000Z")
    hostile = {"article": HOSTILE, "note": HOSTILE, "operator": HOSTILE, "line": HOSTILE}
    told = {"note": HOSTILE, "where": HOSTILE, "moved": HOSTILE}
    path = drop_in(folder, "two", utc="2026-03-03T10:00:00.000Z", setup=hostile, stiffness=24e3)
    add_inspection(path, by=HOSTILE, finding="parted", **told)
    drop_in(folder, "practice", utc="2026-03-04T10:00:00.000Z", board="virtual board")
    (folder / "wreck.h5").write_bytes(b"nothing")
    return folder


@pytest.fixture
def full(made_once, tmp_path):
    """A copy of it, to enter things into."""
    return shutil.copytree(made_once, tmp_path / "kite")


@pytest.fixture
def empty(tmp_path):
    """A campaign with nothing in it."""
    return campaign_in(tmp_path / "new")


@pytest.fixture
def pounds(full):
    """A crew at the desk of a campaign in pounds and feet."""
    file = full / "campaign.toml"
    own = '\n[display]\nforce = "lbf"\nlength = "ft"\nenergy = "ft lbf"\nmass = "lb"\n'
    file.write_text(file.read_text() + own)
    return Visit(full)
