"""One truth of a record: list, picture, page and JSON tell the same, from the newest marks."""

import html
import json
import re
from dataclasses import asdict, replace

import pypdf
import pytest
from command_line import said
from made_records import CALIBRATION, SETUP, made

from tautlog.archive.catalogue import catalogued
from tautlog.calibrate.kept import FOLDER, FORMAT
from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.new_campaign import write_new_campaign
from tautlog.display.pictures import drop
from tautlog.display.quick_look import mark_new
from tautlog.planning.intended import drops_since_proof
from tautlog.record import open_record


@pytest.fixture
def kite(tmp_path, monkeypatch):
    folder = write_new_campaign(tmp_path / "kite").parent
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def record(kite):
    path = made(kite / "one.h5")
    mark_new(path)
    return path


def since_proof(folder):
    campaign = read_campaign(folder)
    return drops_since_proof(campaign, campaign.mounts[0])


def calibrated(folder, number, slope, date, note="later"):
    """A calibration's file as the campaign keeps it; only what is read of it."""
    (folder / FOLDER).mkdir(exist_ok=True)
    values = vars(replace(CALIBRATION, newton_per_volt=slope, date=date, note=note))
    path = folder / FOLDER / f"{number:04d}_{date}.json"
    points = [{"load_n": slope * volt, "volt": volt, "run": 1} for volt in (0.0, 0.1, 0.2)]
    content = {"format": FORMAT, "version": 1, "calibration": values, "points": points}
    path.write_text(json.dumps(content))
    return path


# A later calibration


def test_a_later_calibration_is_a_new_run_with_name_and_reason(record, kite, capsys):
    before = open_record(record)
    calibrated(kite, 1, 1020.0, "2026-03-10")
    path = calibrated(kite, 2, 1040.0, "2026-03-20")
    given = ("--calibration", "newest", "--by", "A. Rigger", "--reason", "the cell was tared")
    status, out, _ = said(capsys, "mark", record, *given)
    assert status == 0
    assert (
        "calibration 0002_2026-03-20.json, 1040 N/V, dated 2026-03-20, chosen by A. Rigger" in out
    )
    assert "recorded with 1000 N/V" in out
    after = open_record(record)
    assert after.verify_seal() == before.verify_seal()
    assert after.calibration == before.calibration
    assert after.marks[:1] == before.marks
    told = after.marks[-1].settings["calibration"]
    assert (told["file"], told["by"], told["reason"]) == (
        *(path.name, "A. Rigger", "the cell was tared"),
    )
    assert re.fullmatch("[0-9a-f]{64}", told["sha256"])
    first, second = (one.result["peak_force_n"] for one in after.marks)
    assert second / first == pytest.approx(1.04, rel=1e-3)


def test_later_readers_go_on_with_it_until_the_own_one_is_taken_again(record, kite, capsys):
    path = calibrated(kite, 1, 1040.0, "2026-03-20")
    own = catalogued(kite)[0].peak_force_n
    given = ("--by", "A", "--reason", "x")
    assert said(capsys, "mark", record, "--calibration", path, *given)[0] == 0
    path.unlink()  # the run holds what it needs
    for command in (("mark", record), ("inspect", record, "--found", "intact", "--by", "B")):
        assert said(capsys, *command)[0] == 0
    (one,) = catalogued(kite)
    assert one.peak_force_n / own == pytest.approx(1.04, rel=1e-3)
    assert "marked with calibration 0001_2026-03-20.json (1040 N/V" in said(capsys, "list")[1]
    assert said(capsys, "report")[0] == 0
    page = html.unescape((kite / "report.html").read_text())
    assert "chosen by A on" in page
    assert f"{one.peak_force_n:.0f} +/- " in page
    assert said(capsys, "mark", record, "--calibration", "own", *given)[0] == 0
    assert catalogued(kite)[0].peak_force_n == pytest.approx(own)


def test_a_corrected_calibration_is_told_and_taken_no_more(record, kite, capsys):
    wrong = calibrated(kite, 1, 1000.0, "2026-03-01", note="")
    right = calibrated(kite, 2, 1040.0, "2026-03-20")
    told = json.loads(right.read_text())
    told["supersedes"] = {"file": wrong.name, "by": "A", "reason": "grams for newtons"}
    right.write_text(json.dumps(told))
    _, out, _ = said(capsys, "mark", record)
    assert "0001_2026-03-01.json was superseded by 0002_2026-03-20.json" in out
    assert "grams for newtons" in out
    given = ("--by", "A", "--reason", "x")
    status, _, err = said(capsys, "mark", record, "--calibration", wrong, *given)
    assert status == 1
    assert "was superseded" in err
    assert said(capsys, "mark", record, "--calibration", "newest", *given)[0] == 0
    assert "superseded" not in said(capsys, "mark", record)[1]


def test_many_records_at_once(record, kite, capsys):
    calibrated(kite, 1, 1040.0, "2026-03-20")
    given = ("--calibration", "newest", "--by", "A", "--reason", "x")
    assert said(capsys, "remark", *given)[0] == 0
    assert open_record(record).recalibration.by == "A"


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (("--calibration", "newest", "--by", "A", "--reason", "x"), "has no calibration"),
        (("--calibration", "none.json", "--by", "A", "--reason", "x"), "there is no calibration"),
        (("--calibration", "own", "--by", " ", "--reason", "x"), "needs a name"),
        (("--calibration", "own", "--by", "A"), "a reason"),
        (("--by", "A", "--reason", "x"), "name the calibration"),
    ],
)
def test_no_calibration_is_taken_without_word_and_file(record, capsys, given, words):
    status, out, err = said(capsys, "mark", record, *given)
    assert (status, out) == (1, "")
    assert words in err
    assert len(open_record(record).marks) == 1


def test_an_import_has_no_calibration_of_this_rig(kite, capsys):
    (kite / "t.csv").write_text("t,f\n" + "".join(f"{i / 1000},{i % 7}\n" for i in range(2000)))
    given = ["--force-column", "f", "--time-column", "t", "--out", "came.h5"]
    assert said(capsys, "import", "t.csv", *given)[0] == 0
    asked = ("--calibration", "own", "--by", "A", "--reason", "x")
    status, _, err = said(capsys, "mark", "came.h5", *asked)
    assert status == 1
    assert "imported" in err


def test_a_calibration_of_long_after_is_as_old_as_one_of_long_before(record, kite, capsys):
    calibrated(kite, 1, 1000.0, "2028-03-20")
    given = ("--calibration", "newest", "--by", "A", "--reason", "x")
    assert said(capsys, "mark", record, *given)[0] == 0
    assert open_record(record).trace().calibration_expired


# One prediction


@pytest.mark.wide
def test_a_drop_is_predicted_once(kite, capsys):
    """From the line in its set-up, with what was known before it: records, then the file."""
    for number, stiffness in ((1, 20_800.0), (2, 24_000.0)):
        path = made(
            kite / f"{number}.h5", stiffness=stiffness, utc=f"2026-03-0{number}T10:00:00.000Z"
        )
        assert said(capsys, "mark", path)[0] == 0
    told = [json.loads(said(capsys, "mark", f"{n}.h5", "--json")[1])["predicted"] for n in (1, 2)]
    assert told[0]["stiffness_n_per_m"] == 21_000.0  # of campaign.toml
    assert told[0]["source"] == "campaign.toml"
    assert told[1]["stiffness_n_per_m"] == pytest.approx(20_800.0, rel=0.01)  # of the first drop
    first, second = (f"predicted {one['peak_force_n']:.0f} N" for one in told)
    assert first != second
    assert [one.predicted_n for one in catalogued(kite)] == [one["peak_force_n"] for one in told]
    assert first in said(capsys, "mark", "1.h5")[1]
    assert said(capsys, "report")[0] == 0
    page = html.unescape((kite / "report.html").read_text())
    assert f"{first} (" in page
    assert f"{second} (" in page
    assert "a plan made now" in page  # which knows the second drop too


def test_the_picture_is_drawn_upon_the_same_prediction(kite, capsys, monkeypatch):
    drawn = []
    before = drop.draw_drop
    monkeypatch.setattr(drop, "draw_drop", lambda *a: drawn.append(a[2]) or before(*a))
    path = made(kite / "1.h5")
    predicted = mark_new(path).predicted
    assert said(capsys, "show", path, "--out", "p.png")[0] == 0
    assert drawn[0].text.startswith(f"predicted {predicted.peak_force_n:.0f} N")


def test_what_was_known_on_the_day_stays(kite, monkeypatch, capsys):
    path = made(kite / "1.h5", utc="")  # now
    before = mark_new(path).predicted
    assert before.on_the_day
    toml = kite / "campaign.toml"
    toml.write_text(toml.read_text().replace("= 21000.0", "= 30000.0"))
    after = json.loads(said(capsys, "mark", path, "--json")[1])["predicted"]
    assert after == asdict(before)


# The same figures everywhere


@pytest.mark.wide
def test_every_place_tells_the_same(record, kite, capsys):
    """Marked in another class than the usual one; then every default is that class."""
    assert said(capsys, "mark", record, "--cfc", "60")[0] == 0
    assert said(capsys, "inspect", record, "--found", "intact", "--by", "A")[0] == 0
    given = ("--verdict", "fail", "--by", "R. Lead", "--reason", "as seen")
    assert said(capsys, "decide", record, *given)[0] == 0
    marked = json.loads(said(capsys, "mark", record, "--json")[1])
    assert marked["cfc"] == 60
    (one,) = json.loads(said(capsys, "list", "--json")[1])
    for name in ("peak_force_n", "cfc", "record_verdict", "load_verdict", "trace_says"):
        assert one[name] == marked[name]
    assert (one["test_verdict"], one["decided"]) == (marked["test_verdict"], "fail")
    assert marked["decision"]["proposed"] == marked["test_verdict"]
    assert said(capsys, "report", "--pdf", "report.pdf")[0] == 0
    page = html.unescape(re.sub(r"<[^>]*>", " ", (kite / "report.html").read_text()))
    paper = " ".join(
        " ".join(one.extract_text() for one in pypdf.PdfReader(kite / "report.pdf").pages).split()
    )
    peak = f"{marked['peak_force_n']:.0f} +/- {marked['peak_force_expanded_u_n']:.0f}"
    assert peak in said(capsys, "list")[1]
    for text in (" ".join(page.split()), paper):
        assert peak in text
        assert "FAIL decided by R. Lead" in text
        assert "FAIL as decided" in text
        assert "class 60" in text or "cfc 60" in text
    assert "keeps new ones" not in page


def test_a_report_in_another_class_says_what_the_list_tells(record, kite, capsys):
    assert said(capsys, "report", "--cfc", "60")[0] == 0
    page = html.unescape((kite / "report.html").read_text())
    assert "differ: peak force, N" in page
    assert "`tautlog mark` keeps new ones" in page


def test_the_ledger_of_a_report_is_the_ledger(record, kite, capsys):
    (kite / "lost.h5").write_bytes(b"x")
    made(kite / "off.h5", status="aborted")  # never marked, and loaded all the same
    made(kite / "called-off.h5", status="aborted", released=False, drops=False)
    rows = json.loads(said(capsys, "ledger", "--json")[1])
    drops = {(one["kind"], one["name"]): one["drops"] for one in rows}
    assert drops["article", "bridle-1"] == drops["line", SETUP.line] == 2
    assert drops["file", "lost.h5"] == 1
    assert since_proof(kite) == 3
    assert said(capsys, "report", "one.h5")[0] == 0
    page = html.unescape(re.sub(r"<[^>]*>", " ", (kite / "one.html").read_text()))
    assert re.search(r"article\s+bridle-1\s+2\s", page)
    assert re.search(r"file\s+lost\.h5\s+1\s", page)


def test_an_aborted_drop_tells_its_peak(kite, capsys):
    """Called off after a force came that no switch told of."""
    made(kite / "off.h5", status="aborted", released=False)
    (one,) = catalogued(kite)
    assert one.released
    rows = json.loads(said(capsys, "ledger", "--json")[1])
    assert rows[0]["highest_n"] == pytest.approx(one.peak_force_n)
    assert one.peak_force_n > 1500.0


def test_what_was_corrected_stands_in_the_report(record, kite, capsys):
    given = ("--add", "--article", "bridle-1", "--by", "A", "--peak-at-most", "9000")
    assert said(capsys, "ledger", *given)[0] == 0
    given = ("--add", "--article", "bridle-1", "--by", "B", "--peak-at-most", "900")
    more = ("--supersedes", "1", "--reason", "a nought too many")
    assert said(capsys, "ledger", *given, *more)[0] == 0
    assert said(capsys, "report")[0] == 0
    page = html.unescape((kite / "report.html").read_text())
    assert "ledger entry 1, bridle-1, " in page
    assert "is superseded by 2 (B: a nought too many)" in page
