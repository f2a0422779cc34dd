"""The sheets say what is reckoned, made and sourced."""

import re

import make
import pytest
import sheets
from sheets import NOTES, SHEETS

# Sheets from before the rule; each is brought under it when it is next written.
FIRST_FORM = {
    "converter.md",
    "converter_16.md",
    "README.md",
}
names = [pytest.param(sheet, id=sheet.name) for sheet in SHEETS]
NAMES_SOURCES = {"sources.md"}  # its rows are what the others cite
sourced = [
    pytest.param(sheet, id=sheet.name)
    for sheet in SHEETS
    if sheet.name not in FIRST_FORM | NAMES_SOURCES
]


@pytest.mark.parametrize("sheet", names)
def test_each_named_figure_is_what_its_function_gives(sheet):
    assert list(sheets.wrong_figures(sheet.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize("sheet", sourced)
def test_each_number_has_its_source(sheet):
    assert list(sheets.unsourced(sheet.read_text(encoding="utf-8"))) == []


def test_what_is_made_is_what_stands_in_the_repository():
    differs = [
        path.name
        for path, text in make.wanted().items()
        if not path.exists() or path.read_text(encoding="utf-8") != text
    ]
    assert differs == []


@pytest.mark.parametrize("sheet", names)
def test_links_between_sheets_lead_somewhere(sheet):
    for link in re.findall(r"\]\(([^)#]+?)(?:#[^)]*)?\)", sheet.read_text(encoding="utf-8")):
        if not link.startswith(("http://", "https://")):
            assert (NOTES / link).exists(), link


def test_each_figure_is_written_in_a_sheet():
    written = "".join(sheet.read_text(encoding="utf-8") for sheet in SHEETS)
    in_toml = {"analogue.newton_per_volt"}  # a block of code has no names behind its numbers
    assert {name for name in make.figures.FIGURES if f"<!--={name}-->" not in written} == in_toml


def test_the_slope_for_a_campaign_is_the_figure():
    text = (NOTES / "2_analogue.md").read_text(encoding="utf-8")
    (slope,) = re.findall(r"^newton_per_volt = ([\d.]+)", text, re.MULTILINE)
    assert f"{float(slope):.0f}" == make.figures.FIGURES["analogue.newton_per_volt"].text


def test_a_wrong_figure_is_told():
    make.figures.FIGURES["test.half"] = make.figures.Figure("test.half", "J", ".1f", lambda: 0.5)
    try:
        assert list(sheets.wrong_figures("so 0.5 J<!--=test.half--> are left")) == []
        assert len(list(sheets.wrong_figures("so 0.6 J<!--=test.half--> are left"))) == 1
        for wrong in ("10.5 J", "-0.5 J", "\N{MINUS SIGN}0.5 J", "1,0.5 J"):
            assert len(list(sheets.wrong_figures(f"so {wrong}<!--=test.half--> are left"))) == 1
        assert len(list(sheets.wrong_figures("0.5 J<!--=test.unknown-->"))) == 1
    finally:
        del make.figures.FIGURES["test.half"]


def test_a_number_without_a_source_is_told():
    assert list(sheets.unsourced("It holds 3 kN.")) != []
    assert list(sheets.unsourced("It holds 3 kN (common practice).")) == []
    assert list(sheets.unsourced("Three screws hold it.")) == []
