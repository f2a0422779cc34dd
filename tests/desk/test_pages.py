"""Pages: each task of the day, for a campaign that is empty, damaged, full, or a rehearsal."""

import re
import shutil
import time
from xml.etree import ElementTree

import pytest
from desks import HOSTILE, PAGES, PIECES, Seen, Visit, campaign_in, points
from kites import change
from made_records import imported

from tautlog.campaign.checklist import CHALLENGES, fresh_checklist
from tautlog.campaign.ledger import read_entries
from tautlog.desk.admission import Role
from tautlog.desk.drop import PICTURES
from tautlog.desk.forms import MOST_TEXT
from tautlog.display.quick_look import mark_new
from tautlog.record import open_record

DROPS = (
    "/drops/one",
    "/drops/two",
    "/compare?drop=one&drop=two",
    "/drops/one/picture.svg?page=drop",
)
YES = {f"answer-{code}": "yes" for code, _ in CHALLENGES}
TWO = {"operator": "A. Rigger", "second": "B. Watch"}


@pytest.fixture
def crew(full):
    return Visit(full)


def damage(folder, what):
    """Damage one thing in a campaign."""
    if what == "campaign.toml":
        (folder / "campaign.toml").write_text("[requirement\ntarget_n = ?")
    elif what == "a wrong value":
        change(folder, "target_n = 1800.0", "target_n = -5")
    elif what == "ledger":
        (folder / "ledger.jsonl").write_text("{nonsense\n")
    elif what == "proofs":
        (folder / "proofs.jsonl").write_text("{nonsense\n")
    elif what == "calibration":
        (folder / "calibrations").mkdir()
        (folder / "calibrations" / "0001_2026-03-01.json").write_text("{}")
    elif what == "checklist":
        (folder / "checklists").mkdir()
        (folder / "checklists" / "2026.json").write_text("[]")
    elif what == "catalogue":
        for path in folder.glob(".tautlog-catalogue*"):
            path.unlink()
        (folder / ".tautlog-catalogue.sqlite3").write_bytes(b"no database" * 500)
    elif what == "record":
        raw = bytearray((folder / "one.h5").read_bytes())
        raw[len(raw) // 2 : len(raw) // 2 + 4000] = bytes(4000)
        (folder / "one.h5").write_bytes(raw)


@pytest.mark.parametrize("role", list(Role))
@pytest.mark.parametrize("address", PAGES)
def test_an_empty_campaign_has_every_page(address, role, empty):
    answer = Visit(empty, role).get(address)
    assert answer.status_code == 200
    assert "Traceback" not in answer.text


@pytest.mark.parametrize("role", list(Role))
@pytest.mark.parametrize("address", [*PAGES, *DROPS])
def test_a_full_campaign_has_every_page(address, role, made_once):
    answer = Visit(made_once, role).get(address)
    assert answer.status_code == 200
    if role is Role.WATCHER and "svg" not in answer.headers["content-type"]:
        tags = Seen(answer.text).tags
        assert all(found.get("method", "get") == "get" for tag, found in tags if tag == "form")


@pytest.mark.parametrize(
    "what",
    [
        *("campaign.toml", "a wrong value", "ledger", "proofs", "calibration", "checklist"),
        *("catalogue", "record"),
    ],
)
@pytest.mark.rows(2)
def test_a_damaged_campaign_says_what_is_wrong_on_every_page(what, full):
    damage(full, what)
    crew = Visit(full)
    texts = []
    for address in (*PAGES, "/drops/one", "/drops/two"):
        answer = crew.get(address)
        assert answer.status_code in (200, 404), (address, answer.text)
        texts.append(Seen(answer.text).text)
    told = " ".join(texts)
    expected = {
        "campaign.toml": "The campaign cannot be read",
        "a wrong value": "target_n = -5",
        "ledger": "ledger.jsonl",
        "proofs": "proofs.jsonl",
        "calibration": "cannot be read as a calibration",
        "record": "one",
    }
    assert expected.get(what, "bridle") in told
    if what in ("campaign.toml", "a wrong value"):
        assert crew.enter("/ledger", {"article": "a", "by": "b"}).status_code == 400


def test_what_people_typed_stays_text(full):
    crew = Visit(full)
    for address in (*PAGES, "/drops/two", "/compare?drop=two"):
        seen = Seen(crew.get(address).text)
        assert not [found for tag, found in seen.tags if found.get("src") == "x"]
        assert all("src" in found for tag, found in seen.tags if tag == "script")
        assert "49" not in re.findall(r"\d+", HOSTILE)
    assert 'alert("x")' in Seen(crew.get("/drops/two").text).text
    answer = crew.enter("/drops/one/decision", {"by": HOSTILE, "verdict": "x", "reason": HOSTILE})
    seen = Seen(answer.text)
    assert answer.status_code == 400
    assert HOSTILE in [found.get("value") for tag, found in seen.tags if tag == "input"]
    assert all("src" in found for tag, found in seen.tags if tag == "script")


def test_a_name_that_is_none_finds_no_drop(crew):
    for name in ("three", HOSTILE.replace("/", ""), "wreck"):
        answer = crew.get(f"/drops/{name}")
        assert answer.status_code == 404
        assert all("src" in found for tag, found in Seen(answer.text).tags if tag == "script")
    assert crew.get("/curves?drop=three").json()["problem"].startswith("there is no record")


def test_rehearsals_bear_the_word_wherever_they_are_shown(full):
    crew = Visit(full)
    assert "practice" not in Seen(crew.get("/drops").text).text
    for address in ("/", "/drops?rehearsed=yes", "/drops/practice", "/ledger"):
        assert "REHEARSAL" in Seen(crew.get(address).text).text, address
    assert "REHEARSAL" in Seen(crew.get("/compare?drop=one&drop=practice").text).text
    assert crew.get("/curves?drop=practice&drop=one").json()["curves"][0]["name"].startswith("REH")
    picture = crew.get("/drops/practice").text
    assert 'class="banner"' in picture


@pytest.mark.parametrize(
    "address", [*(one for one in PAGES if one not in PIECES), "/drops/one", "/compare?drop=one"]
)
def test_every_page_of_a_practice_campaign_bears_the_word(address, full):
    change(full, '# kind = "drops"', 'kind = "rehearsal"')
    text = Seen(Visit(full).get(address).text).text
    assert "REHEARSAL This campaign is there to practise with" in text


def test_today_says_what_comes_next(full, empty):
    first = Seen(Visit(empty).get("/").text).text
    assert "Prove the mount beam-1" in first
    assert "before any drop" in first
    text = Seen(Visit(full).get("/").text).text
    assert "Inspect the article of one" in text
    assert "2 drops on record" in text


def test_a_day_goes_on_as_its_points_are_closed(full):
    crew = Visit(full)
    fields = {"by": "A. Rigger", "finding": "intact"}
    assert crew.enter("/drops/one/inspection", fields).headers["location"].startswith("/drops/one?")
    assert open_record(full / "one.h5").inspections[-1].by == "A. Rigger"
    assert "Decide on one" in Seen(crew.get("/").text).text
    assert "PROVEN, as proposed" in Seen(crew.get("/").text).text
    decided = {"by": "R. Lead", "verdict": "pass", "reason": "all as it should be"}
    assert crew.enter("/drops/one/decision", decided).status_code == 303
    decision = open_record(full / "one.h5").decisions[-1]
    assert (decision.by, decision.verdict, decision.proposed) == ("R. Lead", "pass", "pass")
    text = Seen(crew.get("/").text).text
    assert "Decide on one" not in text
    assert "bridle-1 PROVEN 1 drop" in text
    assert "Decided by R. Lead" in Seen(crew.get("/drops/one").text).text


@pytest.mark.parametrize(
    ("where", "fields", "word"),
    [
        ("inspection", {"by": " ", "finding": "intact"}, "needs the name"),
        ("inspection", {"by": "A", "finding": "fine"}, "allowed are"),
        ("decision", {"by": "A", "verdict": "pending", "reason": "x"}, "allowed are"),
        ("decision", {"by": "A", "verdict": "pass", "reason": "\u3164"}, "needs a reason"),
        ("decision", {"by": "A", "verdict": "pass", "reason": "x" * (MOST_TEXT + 1)}, "letters"),
        ("photos", {"note": "x"}, "choose a photo"),
        ("photos", {"beside": "none.jpg", "offset_s": "-1"}, "time in a film"),
        ("photos", {"beside": "none.jpg", "offset_s": "nan"}, "offset_s"),
    ],
)
def test_what_a_command_refuses_a_page_refuses(where, fields, word, crew, full):
    before = (full / "one.h5").read_bytes()
    answer = crew.enter(f"/drops/one/{where}", fields)
    assert answer.status_code == 400
    assert "Not entered" in answer.text
    if word != "time in a film":
        assert word in Seen(answer.text).text
    assert (full / "one.h5").read_bytes() == before


def test_an_entry_on_a_record_that_is_none(crew):
    answer = crew.enter("/drops/three/inspection", {"by": "A", "finding": "intact"})
    assert answer.status_code == 404


def test_photos_go_with_the_record_and_are_shown(crew, full):
    from PIL import Image

    Image.new("RGB", (40, 30), "grey").save(full / "eye.jpg")
    assert "eye.jpg" in crew.get("/drops/one").text
    assert crew.enter("/drops/one/photos", {"beside": "eye.jpg", "note": "left"}).status_code == 303
    text = crew.get("/drops/one").text
    assert "data:image/jpeg;base64," in text
    assert "left" in Seen(text).text


def test_the_plan_says_peak_band_chance_and_why_not(full):
    crew = Visit(full)
    text = Seen(crew.get("/plan").text).text
    for word in ("target to limit", "stays below", "REFUSE", "catch"):
        assert word in text
    climb = Seen(crew.get("/plan/climb").text).text
    for word in ("Ladder", "Proposed next", "From 1 drop of the line", "the qualifying drop"):
        assert word in climb
    for word in ("a drop proves the target with a chance of", "calibration (", "would prove it"):
        assert word in climb  # as `plan --odds` says it
    higher = Seen(crew.get("/plan/reckoned?mass_kg=9&height_m=2.5").text).text
    assert "REFUSED" in higher
    assert "rails" in higher
    found = Seen(crew.get("/plan/reckoned?mass_kg=9&height_m=2.5&solve=height").text).text
    assert "(found: height)" in found


@pytest.mark.parametrize(
    "query",
    [
        *("mass_kg=-1", "mass_kg=nan", "height_m=1e9", "mass_kg=abc", "height_m=inf", "line=none"),
        *("stiffness_n_per_m=0", "target_n=5", "target_n=100&limit_n=50", "article=x", "mount=y"),
        "mass_kg=" + "9" * 400,
    ],
)
def test_an_absurd_plan_says_why(query, full):
    answer = Visit(full).get(f"/plan/reckoned?{query}")
    assert answer.status_code == 200
    assert "NO PLAN" in answer.text
    assert Visit(full).get(f"/plan?{query}").status_code == 200


def test_the_plan_is_that_of_the_command(full, monkeypatch, capsys):
    import json

    from command_line import said

    monkeypatch.chdir(full)
    status, out, _ = said(capsys, "plan", "--mass", "9", "--height", "1.1", "--json")
    assert status == 0
    text = Seen(Visit(full).get("/plan/reckoned?mass_kg=9&height_m=1.1").text).text
    assert f"{json.loads(out)['peak_force_n']:.0f} N" in text
    assert f"{json.loads(out)['peak_low_n']:.0f} to" in text


def test_points_by_hand_are_looked_at_then_kept(empty):
    crew = Visit(empty)
    looked = crew.enter("/calibrate", {**points(), "do": "look"})
    assert looked.status_code == 200
    assert "Nothing is kept yet" in looked.text
    assert "1000 N/V" in Seen(looked.text).text
    assert not (empty / "calibrations").exists()
    assert crew.enter("/calibrate", {**points(), "do": "keep"}).status_code == 303
    text = Seen(crew.get("/calibrate").text).text
    assert "covered to 294 N" in text
    assert "0001_" in text
    assert "residual" in text


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"load1": "x"}, "not a number"),
        ({"load1": "1;2"}, "expected numbers"),
        ({"load_is": "pounds"}, "what the columns are"),
        ({"read1": "nan"}, "not a number"),
        ({"load1": "-5"}, "allowed is"),
        ({"day": "2999-01-01"}, "day"),
        ({"gravity": "1.62"}, "gravity"),
        ({"channel": "left"}, "not in campaign.toml"),
        ({"supersedes": "9999", "by": "A", "reason": "B"}, "no calibration"),
        ({"supersedes": "1"}, "name and a reason"),
    ],
)
def test_points_that_are_none_are_refused(changes, word, empty):
    answer = Visit(empty).enter("/calibrate", {**points(), "do": "keep", **changes})
    assert answer.status_code == 400
    assert word in Seen(answer.text).text
    assert not (empty / "calibrations").exists()


def test_an_implausible_calibration_needs_a_name(empty):
    crew = Visit(empty)
    rows = [("0", "0.45"), ("98", "0.46"), ("196", "0.47"), ("294", "0.48"), ("0", "0.45")]
    wrong = {**points(rows), "do": "keep"}
    answer = crew.enter("/calibrate", wrong)
    assert answer.status_code == 400
    assert "implausible" in answer.text
    word = {"accept": "yes", "by": "A. Rigger", "reason": "another amplifier"}
    assert crew.enter("/calibrate", {**wrong, **word}).status_code == 303
    assert "A. Rigger: another amplifier" in Seen(crew.get("/calibrate").text).text


def test_a_checklist_needs_two_and_every_answer(full):
    crew = Visit(full)
    same = {"do": "keep", **YES, "operator": "A. Rigger", "second": "a. rigger"}
    assert "two different persons" in crew.enter("/checklist", same).text
    some = {"do": "keep", **TWO, **YES, "answer-pin": ""}
    assert "sled on latch AND pin" in Seen(crew.enter("/checklist", some).text).text
    assert not (full / "checklists").exists()


def test_a_no_is_kept_and_not_ready(full):
    crew = Visit(full)
    answer = crew.enter("/checklist", {"do": "keep", **TWO, **YES, "answer-pin": "no"})
    assert answer.status_code == 400
    assert "not ready" in answer.text
    assert len(list((full / "checklists").iterdir())) == 1
    assert fresh_checklist(full) is None


def test_the_ledger_takes_a_drop_and_its_correction(crew, full):
    entry = {"article": "bridle-1", "by": "A. Rigger", "peak_n": "900"}
    assert crew.enter("/ledger", entry).status_code == 303
    fix = {**entry, "peak_n": "950", "supersedes": "1", "reason": "read again"}
    assert crew.enter("/ledger", fix).status_code == 303
    assert [one.peak_at_most_n for one in read_entries(full)] == [950.0]
    text = Seen(crew.get("/ledger").text).text
    assert "superseded by 2" in text
    assert "read again" in text


@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({"by": "A"}, "must name"),
        ({"by": "", "article": "bridle-1"}, "name of who"),
        ({"by": "A", "article": "bridle-1", "peak_n": "9e99"}, "allowed is"),
        ({"by": "A", "article": "bridle-1", "mount": "x"}, "not in campaign.toml"),
        ({"by": "A", "article": "other"}, "tick the box"),
        ({"by": "A", "article": "bridle-1", "supersedes": "9", "reason": "x"}, "9"),
        ({"by": "A", "article": "bridle-1", "supersedes": "\u0663", "reason": "x"}, "number"),
    ],
)
def test_the_ledger_refuses_what_its_command_refuses(fields, word, crew, full):
    answer = crew.enter("/ledger", fields)
    assert answer.status_code == 400
    assert word in Seen(answer.text).text
    assert not (full / "ledger.jsonl").exists()


def test_reports_are_written_under_free_names_and_shown(crew, full):
    assert crew.enter("/report", {"pdf": "yes"}).headers["location"].endswith("show=report.html")
    first = (full / "report.html").read_bytes()
    assert crew.enter("/report", {}).headers["location"].endswith("show=report_2.html")
    assert (full / "report.html").read_bytes() == first
    assert (full / "report.pdf").read_bytes().startswith(b"%PDF")
    assert not (full / "report_2.pdf").exists()
    text = crew.get("/report?show=report_2.html").text
    assert '<iframe class="report"' in text
    assert "practice</a>" not in crew.get("/report/report_2.html").text
    assert "<iframe" not in crew.get("/report?show=campaign.toml").text


def test_no_report_of_nothing(empty):
    answer = Visit(empty).enter("/report", {})
    assert answer.status_code == 400
    assert "no readable record" in answer.text


def test_curves_lose_no_peak_and_zoom_to_samples(made_once):
    crew = Visit(made_once)
    whole = crew.get("/curves?drop=one&page=drop").json()
    raw, filtered = whole["curves"]
    record = open_record(made_once / "one.h5")
    assert raw["samples"] > 200_000
    assert len(raw["x"]) <= 1700
    assert raw["faint"]
    assert not filtered["faint"]
    near = crew.get("/curves?drop=one&page=contact&from=0.02&to=0.03").json()["curves"][0]
    assert near["samples"] == len(near["x"]) == pytest.approx(0.01 * record.sample_rate_hz, abs=3)
    assert max(filtered["y"]) == pytest.approx(max(near["y"]), rel=1e-4)
    assert {one["name"] for one in whole["levels"]} == {"target 1800 N", "limit 1980 N"}


def test_cursors_sit_on_samples_and_read_as_in_the_window(made_once):
    crew = Visit(made_once)
    told = crew.get("/readings?drop=one&page=contact&a=0.0&b=0.03&by=900").json()
    rate = open_record(made_once / "one.h5").sample_rate_hz
    assert told["a"]["text"].endswith("one")
    assert "impulse" in told["between"]
    one_on = crew.get("/readings?drop=one&page=contact&a=0.0&aby=1").json()
    assert one_on["a"]["x"] - told["a"]["x"] == pytest.approx(1.0 / rate, rel=1e-6)
    for odd in ("a=nan", "a=inf&b=x", "a=1e300", "a=0&aby=1e300", "from=1&to=0&a=0"):
        assert crew.get(f"/readings?drop=one&{odd}").status_code == 200


@pytest.mark.parametrize("wanted", PICTURES)
def test_every_picture_of_a_drop_is_drawn(wanted, made_once):
    answer = Visit(made_once).get(f"/drops/one/picture.svg?page={wanted}")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "image/svg+xml"
    root = ElementTree.fromstring(answer.text)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert "script" not in answer.text
    assert Visit(made_once).get("/drops/one/picture.svg?page=none").status_code == 404


@pytest.mark.parametrize("query", ["", "page=x", "drop=one&page=stretch", "drop="])
def test_no_curves_of_nothing(query, made_once):
    assert Visit(made_once).get(f"/curves?{query}").status_code == 404


def test_a_page_that_is_open_is_told_of_an_entry(full):
    import asyncio

    from tautlog.desk.feed import WAITING, Feed

    async def listening():
        feed = Feed()
        heard = feed.listen()
        assert (await anext(heard)).startswith(":")
        await asyncio.to_thread(feed.tell, "entered", {"at": "/ledger"})
        first = await anext(heard)
        for number in range(3 * WAITING):  # a page that reads nothing holds nobody up
            feed.tell("block", number)
        await asyncio.sleep(0)
        later = await anext(heard)
        assert feed.readers == 1
        await heard.aclose()
        assert feed.readers == 0
        return first, later

    first, later = asyncio.run(listening())
    assert first == 'id: 1\nevent: entered\ndata: {"at": "/ledger"}\n\n'
    assert int(later.split()[1]) > WAITING


@pytest.mark.long
def test_the_first_view_of_a_thousand_records_comes_at_once(tmp_path):
    """In processor time, for tests share their machine; 0.3 s is what a crew may wait."""
    folder = campaign_in(tmp_path / "many")
    path = imported(folder, "drop-0000", 950.0)
    mark_new(path)
    for number in range(1, 1000):
        shutil.copy(path, folder / f"drop-{number:04}.h5")
    crew = Visit(folder)
    crew.get("/")  # makes the catalogue
    assert min(_took(crew, "/") for _ in range(5)) < 0.3


def _took(crew, address):
    start = time.process_time()
    assert crew.get(address).status_code == 200
    return time.process_time() - start


def test_a_record_is_marked_again_and_written_for_others(full):
    crew, path = Visit(full), full / "one.h5"
    before = len(open_record(path).marks)
    assert crew.enter("/drops/one/marks", {"cfc": "600"}).status_code == 303
    kept = open_record(path).marks
    assert (len(kept), kept[-1].result["cfc"]) == (before + 1, 600)
    for fields, word in (
        ({"cfc": "61"}, "allowed are 60"),
        ({"calibration": "/etc/passwd"}, "allowed are own, newest"),
    ):
        refused = crew.enter("/drops/one/marks", fields)
        assert refused.status_code == 400
        assert word in Seen(refused.text).text
    assert crew.enter("/drops/one/export", {"kind": "csv"}).status_code == 303
    assert (full / "one.csv").exists()
    again = crew.enter("/drops/one/export", {"kind": "csv"})
    assert again.status_code == 400  # nothing is overwritten
    assert crew.enter("/drops/one/export", {"kind": "exe"}).status_code == 400
    watcher = Visit(full, role=Role.WATCHER)
    assert watcher.enter("/drops/one/marks", {"token": "x"}).status_code == 403


@pytest.mark.parametrize(
    ("where", "file", "fields"),
    [
        ("/proof", "proofs.jsonl", {"pulled_n": "2500", "held_s": "70"}),
        ("/ledger", "ledger.jsonl", {"article": "bridle-1"}),
        ("/deviations", "deviations.jsonl", {"text": "the gauge was read once"}),
    ],
)
def test_what_is_doubtful_about_an_entry_stands_on_the_page_that_follows(where, file, fields, full):
    """A line that was cut short before the entry: the command says LOOK, and so does the page."""
    crew = Visit(full)
    fields = {"by": "A. Rigger", **fields}
    first = crew.enter(where, fields)
    assert first.status_code == 303
    assert "LOOK" not in Seen(crew.get(first.headers["location"]).text).text
    with (full / file).open("ab") as kept:
        kept.write(b'{"utc": "2026-03-0')
    second = crew.enter(where, {**fields, "supersedes": "2", "reason": "it was cut short"})
    assert second.status_code == 303, Seen(second.text).text
    text = Seen(crew.get(second.headers["location"]).text).text
    assert f"LOOK: line 2 of {file} was cut short: check it" in text
    # No text of an address is shown, and no number that nobody kept.
    for made_up in ("9999", "<b>look</b>", ""):
        assert "LOOK" not in Seen(crew.get(f"{where}?done=proof&look={made_up}").text).text
