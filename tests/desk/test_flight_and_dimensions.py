"""The desk's drop page: flight beside the drop, and dimensions with an inspection."""

import made_records
import pytest
from desks import Visit

from tautlog.cli import run
from tautlog.record import open_record

STATED = """
[flight]
kind = "snatch"
body_kg = 25.0
canopy_kg = 1.2
speed_m_s = 5.0
stiffness_n_per_m = 30000.0
expanded_u_fraction = 0.1

[[dimension]]
name = "length"
article = "bridle-1"
before_mm = 312.0
expanded_u_mm = 0.1
limit_mm = 0.5
"""


@pytest.fixture
def folder(tmp_path):
    place = tmp_path / "kite"
    assert run(["init", str(place)]) == 0
    made_records.made(place / "one.h5")
    return place


def test_the_page_says_and_draws_what_is_harder(folder):
    visit = Visit(folder)
    assert "Against flight" not in visit.get("/drops/one").text
    assert visit.get("/drops/one/picture.svg?page=flight").status_code == 404
    file = folder / "campaign.toml"
    file.write_text(file.read_text() + STATED)
    assert "peak: harder" in visit.get("/drops/one").text
    assert visit.get("/drops/one/picture.svg?page=flight").text.startswith("<svg")


def test_a_dimension_is_entered_and_judged_as_by_the_command(folder):
    file = folder / "campaign.toml"
    file.write_text(file.read_text() + STATED)
    visit = Visit(folder)
    assert "length now, mm" in visit.get("/drops/one").text
    entry = {"by": "A. Rigger", "finding": "intact"}
    grown = visit.enter("/drops/one/inspection", entry | {"dimension length": "313.4"})
    assert grown.status_code == 400
    assert "does not agree with the figures" in grown.text
    assert open_record(folder / "one.h5").inspections == ()
    text = file.read_text()
    example = next(line for line in text.splitlines() if "criterion_dimensions" in line)
    file.write_text(text.replace(example, 'criterion_dimensions = "length"'))
    unmeasured = visit.enter("/drops/one/inspection", entry)
    assert unmeasured.status_code == 400
    assert "judged by length, not measured here" in unmeasured.text
    visit.enter("/drops/one/inspection", entry | {"dimension length": "312.2"})
    assert len(open_record(folder / "one.h5").inspections) == 1
    assert "growth +0.2" in visit.get("/drops/one").text
