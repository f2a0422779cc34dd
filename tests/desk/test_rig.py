"""The page of a rehearsed rig: hands for the crew, a picture for watchers, else no page."""

import pytest
from command_line import said
from desks import HOSTILE, Seen, Visit

from tautlog.campaign.campaign import read_campaign
from tautlog.cli import run
from tautlog.desk.admission import Role
from tautlog.desk.desk import Desk
from tautlog.errors import CampaignError
from tautlog.firmware import wire
from tautlog.rehearsal.practice import Practice, practising, scene_of
from tautlog.rehearsal.rig import SimulatedRig


@pytest.fixture
def folder(tmp_path):
    assert run(["init", str(tmp_path / "practice"), "--practice"]) == 0
    return tmp_path / "practice"


@pytest.fixture
def rig(folder):
    return SimulatedRig(scene_of(read_campaign(folder, to_drop=False)), seed=1)


@pytest.fixture
def practice(rig):
    return Practice(rig.bench, "socket://127.0.0.1:7000", 7001)


def crew_of(folder, practice):
    return Visit(folder, desk=Desk(folder, practice=practice))


def does(visit, **fields):
    """What the page says after a word."""
    answer = visit.enter("/rig", fields)
    return answer.status_code, Seen(answer.text).text


def test_without_practice_there_is_no_rig(folder):
    visit = Visit(folder)
    for address in ("/rig", "/rig/now"):
        answer = visit.get(address)
        assert answer.status_code == 404
        assert "tautlog desk --practice" in answer.text
    assert "/rig" not in visit.get("/").text
    assert visit.enter("/rig", {"word": "lower"}).status_code == 404


def test_hands_work_and_what_cannot_be_done_is_said(folder, practice, rig):
    visit = crew_of(folder, practice)
    assert 'href="/rig"' in visit.get("/").text
    assert does(visit, word="hang", figure="20")[0] == 400
    status, text = does(visit, word="lower")
    assert status == 200
    assert "Done: lower" in text
    assert does(visit, word="hang", figure="20")[0] == 200
    assert rig.stand.weights_kg == {"force": 20.0}
    assert "20 kg" in Seen(visit.get("/rig/now").text).text
    status, text = does(visit, word="latch")
    assert status == 400
    assert "`unhang` them first" in text
    rig.advance(64, wire.OUTPUT_LAMP)
    status, text = does(visit, word="unhang")
    assert "ARMED: nobody goes to the rig" in text
    assert "ARMED" in Seen(visit.get("/rig/now").text).text


def test_watchers_see_the_rig_touch_nothing_and_know_of_no_fault(folder, practice, rig):
    rig.bench.do("fault article-parts")
    rig.bench.do("open signal")
    watcher = Visit(folder, Role.WATCHER, desk=Desk(folder, practice=practice))
    for address in ("/rig", "/rig/now"):
        text = watcher.get(address).text
        assert "raised on its latch" in text
        for secret in ("article-parts", "open signal", "<form", "<button"):
            assert secret not in text
    assert watcher.enter("/rig", {"word": "lower"}).status_code == 403
    assert rig.stand.sled == "raised"
    text = crew_of(folder, practice).get("/rig").text
    assert "article-parts" in text
    assert "open signal" in text


@pytest.mark.parametrize(
    "word", [HOSTILE, "", "sing", "hang nan", "pull 1e99", "fault x", "open x"]
)
def test_nonsense_is_told_and_escaped(folder, practice, word):
    status, text = does(crew_of(folder, practice), word=word)
    assert status == 400
    assert "Not entered" in text
    page = crew_of(folder, practice).enter("/rig", {"word": word}).text
    assert "<script>alert" not in page


def test_every_page_of_the_practice_bears_the_word(folder, practice):
    visit = crew_of(folder, practice)
    for address in ("/", "/rig", "/plan", "/ledger"):
        assert "REHEARSAL This campaign is there" in Seen(visit.get(address).text).text


def test_the_rig_is_as_the_campaign_states_it(folder, rig):
    campaign = read_campaign(folder, to_drop=False)
    model = rig.scene.model
    assert (model.mass_kg, model.height_m) == (campaign.setup.mass_kg, campaign.setup.height_m)


def test_a_real_campaign_and_a_port_elsewhere_have_no_rehearsed_rig(tmp_path, folder, capsys):
    assert run(["init", str(tmp_path / "real")]) == 0
    status, _, err = said(capsys, "desk", tmp_path / "real", "--practice")
    assert status == 1
    assert "tautlog init FOLDER --practice" in err
    assert said(capsys, "desk", folder, "--bench", "7001")[0] == 2
    toml = folder / "campaign.toml"
    text = toml.read_text()
    for port in ("", "/dev/ttyACM0", "socket://192.168.4.1:7000", "socket://127.0.0.1:99999"):
        toml.write_text(text.replace("socket://127.0.0.1:7000", port))
        campaign = read_campaign(folder, to_drop=False)
        with pytest.raises(CampaignError, match="answers on this computer"), practising(campaign):
            pass
