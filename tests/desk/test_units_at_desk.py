"""The desk in pounds and feet: no page shows a number in SI, but for fields and what is kept."""

import re

import pytest
from desks import Visit

SI_NUMBER = re.compile(r"\d (?:k?N|J|kg)\b(?!/V)|\d m\b|\bN/m\b|\d N s\b")
PAGES = ("/", "/steps", "/plan", "/plan/reckoned", "/plan/climb", "/drops", "/drops/one", "/proof")
PAGES += ("/compare?drop=one&drop=practice", "/ledger")


def shown(html):
    """The words of a page, without entry fields, kept sentences, budgets and names."""
    html = re.sub(r"<form.*?</form>|<details.*?</details>", "", html, flags=re.S)
    return re.sub(r"<[^>]*>", " ", html).replace("polyester 8 mm, 1.5 m", "the line")


@pytest.mark.parametrize("place", PAGES)
def test_no_page_shows_a_number_of_si(pounds, place):
    answer = pounds.get(place)
    assert answer.status_code == 200
    words = shown(answer.text)
    assert not SI_NUMBER.findall(words), words


@pytest.mark.parametrize("place", ["/plan/reckoned", "/plan/climb", "/drops/one", "/ledger"])
def test_the_sweep_would_see_a_number_of_si(full, place):
    words = shown(Visit(full).get(place).text)
    assert SI_NUMBER.findall(words) or "highest, N" in words or "peak N" in words


def test_a_drop_is_told_in_pounds_and_its_curve_is_in_pounds(pounds):
    text = pounds.get("/drops/one").text
    assert re.search(r"peak [\d.]+ lbf \+/- [\d.]+ lbf", text)
    assert "reasons as they are kept, in SI" in text
    curves = pounds.get("/curves?page=contact&drop=one").json()
    assert curves["y"] == {"label": "force", "unit": "lbf"}
    assert any(re.fullmatch(r"target [\d.]+ lbf", level["name"]) for level in curves["levels"])


def test_another_unit_is_shown_as_soon_as_the_campaign_states_it(pounds, full):
    file = full / "campaign.toml"
    file.write_text(file.read_text().replace('force = "lbf"', 'force = "kN"'))
    assert re.search(r"peak [\d.]+ kN \+/- [\d.]+ kN", pounds.get("/drops/one").text)
