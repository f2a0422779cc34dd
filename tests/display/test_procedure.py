"""The printed procedure: whole, from what the campaign states, with room to write."""

import io
from dataclasses import replace

import pytest
from desks import campaign_in
from pypdf import PdfReader

from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.checklist import CHALLENGES
from tautlog.campaign.deviations import Deviation, enter_deviation
from tautlog.campaign.people import ROLES
from tautlog.campaign.procedure_steps import STEPS
from tautlog.cli import run
from tautlog.display.procedure.contents import LOCAL, Block, procedure_of
from tautlog.display.procedure.paper import pdf_of
from tautlog.display.procedure.tables import BLANK, Table
from tautlog.files.chain import head_of
from tautlog.model.cautions import CAUTION
from tautlog.model.origin import MARK
from tautlog.planning.ladder import HOLD, STOP_RULES

SIZES_PT = {"a4": (595.3, 841.9), "letter": (612.0, 792.0)}  # ISO 216; ANSI/ASME Y14.1


@pytest.fixture(scope="module")
def kite(tmp_path_factory):
    folder = campaign_in(tmp_path_factory.mktemp("kites") / "kite")
    with (folder / "campaign.toml").open("a") as file:
        file.write('\n[[person]]\nname = "B. Boss"\nroles = "decider"\n')
    made = Deviation("2026-03-02T12:00:00Z", "A. Rigger", "the line was wet", step="drop")
    enter_deviation(read_campaign(folder), made, [])
    return folder


def text_of(content):
    pages = PdfReader(io.BytesIO(content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


@pytest.mark.parametrize("paper", SIZES_PT)
@pytest.mark.rows(1)
def test_it_holds_all_that_the_campaign_states_on_either_paper(paper, kite):
    content = pdf_of(procedure_of(read_campaign(kite), []), paper)
    page = PdfReader(io.BytesIO(content)).pages[0]
    assert tuple(map(float, page.mediabox[2:])) == pytest.approx(SIZES_PT[paper], abs=0.5)
    text = text_of(content)
    wanted = [
        *(CAUTION, LOCAL, HOLD, head_of(kite), "B. Boss", "1800 N", "1980 N", "beam-1", "bridle-1"),
        *(*ROLES, *ROLES.values(), *STEPS.values(), *STOP_RULES),
        *(challenge for _, challenge in CHALLENGES),
        *("the line was wet", "no proof pull", "Done by", "End of procedure"),
    ]
    assert [one for one in wanted if " ".join(one.split()) not in text] == []


def test_steps_stand_in_their_order_and_are_signed(kite):
    blocks = procedure_of(read_campaign(kite), []).blocks
    signed = [block.heading.rpartition(" (")[2].rstrip(")") for block in blocks if block.signed]
    assert signed == list(STEPS)


def test_no_signature_stands_on_a_page_without_what_it_signs(kite):
    """Tables of 1 to 26 rows, so that pages end anywhere in them and below them."""
    rows = [tuple((f"row {row}", BLANK) for row in range(count)) for count in range(1, 27)]
    blocks = tuple(
        Block(f"Step {number}", (), (Table(("what", "read"), mine, (1, 1)),), signed=True)
        for number, mine in enumerate(rows)
    )
    told = replace(procedure_of(read_campaign(kite), []), blocks=blocks)
    pages = PdfReader(io.BytesIO(pdf_of(told))).pages
    signed = [page.extract_text().split("Done by") for page in pages]
    assert sum(len(page) - 1 for page in signed) == len(rows)
    assert [page for page in signed for above in page[:-1] if "row " not in above] == []
    read = " ".join(page.extract_text() for page in pages)
    assert read.count("row ") == sum(map(len, rows))  # none is lost or written twice


@pytest.mark.wide
def test_a_practice_campaign_is_marked_on_every_page(tmp_path):
    assert run(["init", str(tmp_path / "practice"), "--practice"]) == 0
    content = pdf_of(procedure_of(read_campaign(tmp_path / "practice"), []))
    pages = PdfReader(io.BytesIO(content)).pages
    assert all(MARK in page.extract_text() for page in pages)


def test_a_campaign_that_cannot_be_planned_still_has_its_sheet(kite, tmp_path):
    text = (kite / "campaign.toml").read_text()
    for name in ("mass_kg", "height_m", "target_n", "line"):
        text = "\n".join(line for line in text.split("\n") if not line.startswith(f"{name} ="))
    (tmp_path / "campaign.toml").write_text(text)
    told = text_of(pdf_of(procedure_of(read_campaign(tmp_path), [])))
    assert "cannot be planned" in told


@pytest.mark.wide
def test_nothing_is_overwritten_without_the_word(kite, monkeypatch, capsys):
    monkeypatch.chdir(kite)
    assert run(["procedure"]) == 0
    first = (kite / "procedure.pdf").read_bytes()
    capsys.readouterr()
    assert run(["procedure"]) == 1
    assert "or give --replace" in capsys.readouterr().err
    assert (kite / "procedure.pdf").read_bytes() == first
    assert run(["procedure", "--replace"]) == 0
    assert (kite / "procedure-1.pdf").read_bytes() == first
    capsys.readouterr()
