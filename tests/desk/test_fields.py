"""Fields of the desk: shown and taken in the chosen units, kept in SI, and no doubt is entered."""

import json
import re

import pytest
from desks import Visit
from hypothesis import given
from hypothesis import strategies as st

from tautlog.desk.fields import number_in, shown_in_field, typed_again
from tautlog.desk.forms import Entered
from tautlog.errors import QuantityError
from tautlog.model import quantities as q
from tautlog.model.display_units import CHOICES, SI, Units
from tautlog.model.units import POUND_FORCE_N

ALL = st.builds(Units, **{kind: st.sampled_from(known) for kind, known in CHOICES.items()})
KINDS = st.sampled_from([q.FORCE, q.HEIGHT, q.MASS, q.DEFLECTION_MM, q.STIFFNESS, q.WEIGHT])
POUNDS = Units("lbf", "ft", "ft lbf", "lb")
PULL = {"mount": "", "held_s": "70", "set_mm": "0", "by": "A. Rigger"}
FORMS = ("/plan", "/proof", "/proof/live", "/checklist", "/drop", "/ledger", "/calibrate/live")
FORMS += ("/calibrate/hanging", "/drops/one")


def pulls(full):
    file = full / "proofs.jsonl"
    lines = file.read_text().splitlines() if file.exists() else []
    return [json.loads(line)["pulled_n"] for line in lines]


@pytest.mark.parametrize("place", FORMS)
def test_every_label_bears_the_unit_in_which_its_field_is_read(pounds, place):
    text = pounds.get(place).text
    forms = re.findall(r"<form.*?</form>", text, flags=re.S)
    labels = [
        label
        for form in forms
        for label in re.findall(r"<(?:span|label)[^>]*>([^<]*, (?:N|m|kg|mm|N/m))(?![/\w])", form)
    ]
    assert labels == []
    fields = [form for form in forms if re.search(r", (lbf|ft|lb|in|lbf/ft)( <i>|<)", form)]
    assert all(f'name="units" value="{POUNDS.key}"' in form for form in fields)


def test_the_sweep_would_see_a_label_in_si(full):
    assert "largest force, N" in Visit(full).get("/proof").text


@given(ALL, KINDS, st.floats(0.0, 1.0))
def test_what_a_field_shows_and_takes_back_is_the_same_number(units, kind, place):
    value = kind.lowest * (kind.highest / kind.lowest) ** place if kind.lowest else place * 9.0
    text = shown_in_field(value, kind.unit, units)
    back = number_in("x", text, replace_range(kind), units)
    assert back == pytest.approx(value, rel=6e-4)  # of four digits
    entered = Entered({"x": text, "units": units.key})
    assert entered.number("x", kind, value) == value  # as it was shown, it is meant


def replace_range(kind):
    """The same kind without bounds: what is rounded at a bound may lie beyond it."""
    return type(kind)(kind.name, kind.unit, 0.0, 1e30, kind.basis, zero=True)


@given(ALL, ALL, KINDS, st.floats(0.2, 400.0))
def test_what_was_typed_means_the_same_after_the_page_changed_its_units(first, now, kind, value):
    typed = {"x": f"{value:.4g}", "units": first.key}
    meant = number_in("x", typed["x"], replace_range(kind), first)
    again = typed_again(typed, "x", kind.unit, now)
    assert number_in("x", again, replace_range(kind), now) == pytest.approx(meant, rel=1e-12)


@pytest.mark.parametrize(
    ("typed", "pulled_n"),
    [
        ("675", 675 * POUND_FORCE_N),
        ("3 kN", 3000.0),
        ("3000 N", 3000.0),
        ("675 lbf", 675 * POUND_FORCE_N),
    ],
)
def test_a_bare_number_is_in_the_unit_of_its_field_and_kept_in_si(pounds, full, typed, pulled_n):
    fields = {**PULL, "units": POUNDS.key, "pulled_n": typed, "deflection_mm": "0.06"}
    answer = pounds.enter("/proof", fields)
    assert answer.status_code == 303, answer.text
    kept = json.loads((full / "proofs.jsonl").read_text().splitlines()[-1])
    assert kept["pulled_n"] == pytest.approx(pulled_n, rel=1e-15)
    assert kept["deflection_m"] == pytest.approx(0.06 * 0.0254)


@pytest.mark.parametrize(
    "changes",
    [
        {"pulled_n": "675 lb"},
        {"pulled_n": "675 pounds"},
        {"pulled_n": "675 kgf"},
        {"pulled_n": "0.3 tons"},
        {"pulled_n": "1,500"},
        {"pulled_n": "2 ft"},
        {"pulled_n": "60000"},  # lbf: more than anybody pulls
        {"deflection_mm": "0.06 lbf"},
        {"units": "lbf,ft,tons"},
        {"units": "lbf,N"},
        {"units": "<script>"},
    ],
)
def test_an_unclear_entry_is_refused_and_nothing_is_entered(pounds, full, changes):
    before = pulls(full)
    fields = {**PULL, "units": POUNDS.key, "pulled_n": "675", "deflection_mm": "0.06"}
    answer = pounds.enter("/proof", fields | changes)
    assert answer.status_code == 400
    assert pulls(full) == before


def test_a_form_filled_in_before_the_units_changed_means_what_its_labels_said(pounds, full):
    file = full / "campaign.toml"
    file.write_text(file.read_text().replace('force = "lbf"', 'force = "kN"'))
    fields = {**PULL, "units": POUNDS.key, "pulled_n": "675"}
    refused = pounds.enter("/proof", {**fields, "by": ""})
    assert refused.status_code == 400
    assert "largest force, kN" in refused.text
    assert 'name="pulled_n" type="text" value="675 lbf"' in refused.text
    assert pounds.enter("/proof", fields).status_code == 303
    assert pulls(full)[-1] == pytest.approx(675 * POUND_FORCE_N)


def test_a_form_that_names_no_units_is_in_those_that_its_fields_are_named_after(pounds, full):
    assert pounds.enter("/proof", {**PULL, "pulled_n": "3000"}).status_code == 303
    assert pulls(full)[-1] == 3000.0


def test_the_numbers_of_the_campaign_come_back_exactly_as_they_are(pounds, full):
    from tautlog.campaign.campaign import read_campaign
    from tautlog.desk.dropping import _asked, _typed

    campaign = read_campaign(full)
    shown = _typed(campaign, None)
    assert shown["mass_kg"] == "19.84"
    request = _asked(Entered(shown), campaign.setup).request
    assert (request.mass_kg, request.height_m) == (campaign.setup.mass_kg, campaign.setup.height_m)
    assert request.target_n == campaign.setup.target_n
    heavier = _asked(Entered(shown | {"mass_kg": "20"}), campaign.setup).request
    assert heavier.mass_kg == pytest.approx(20 * 0.45359237)


def test_sliders_are_in_the_chosen_units(pounds, full):
    text = pounds.get("/plan").text
    assert (
        'id="mass_kg" name="mass_kg" inputmode="decimal" autocomplete="off" value="19.84"' in text
    )
    assert re.search(r'mass slider" min="1.1" max="55.2" step="0.1" value="19.8416"', text)
    assert re.search(r'height slider" min="0.16" max="8.5\d" step="0.01" value="3.93701"', text)
    asked = f"/plan/reckoned?mass_kg=20&height_m=4&units={POUNDS.key}"
    assert "20 lb from 4.000 ft" in pounds.get(asked).text
    assert "20 lb from 4.000 ft" in pounds.get("/plan/reckoned?mass_kg=20 lb&height_m=4 ft").text
    assert "is not taken here" in pounds.get("/plan/reckoned?mass_kg=20 lbf").text


def test_sliders_in_si_are_as_they_were(full):
    text = Visit(full).get("/plan").text
    assert 'mass slider" min="0.5" max="25" step="0.05" value="9"' in text
    assert 'height slider" min="0.05" max="2.6" step="0.005" value="1.2"' in text


def test_a_typed_table_is_in_the_unit_that_its_column_names(pounds):
    fields = {"load_is": "load_n", "reading_is": "volt", "units": POUNDS.key, "do": "look"}
    for row, (load, volt) in enumerate(
        ((0, 0.45), (20, 0.539), (40, 0.628), (20, 0.539), (0, 0.45))
    ):
        fields |= {f"load{row}": str(load), f"read{row}": str(volt)}
    text = pounds.enter("/calibrate", fields).text
    assert "covered to 40.0 lbf" in text
    assert "residual, lbf" in text


@pytest.mark.parametrize("text", ["28.11.2026", "28/11/2026", "1.2.2026", "11-28-2026", "20261128"])
def test_a_day_in_another_order_is_refused_with_the_right_form(full, text):
    fields = {"load_is": "load_n", "reading_is": "volt", "do": "look", "day": text}
    for row, (load, volt) in enumerate(((0, 0.45), (98, 0.548), (196, 0.646), (0, 0.45))):
        fields |= {f"load{row}": str(load), f"read{row}": str(volt)}
    answer = Visit(full).enter("/calibrate", fields)
    assert answer.status_code == 400
    assert "year-month-day, such as 20" in answer.text


def test_si_fields_show_what_they_always_showed():
    assert shown_in_field(1.2, "m", SI) == "1.2"
    assert shown_in_field(None, "m", SI) == ""
    with pytest.raises(QuantityError, match="mass_kg = '9 N': the unit 'N' is not taken here"):
        number_in("mass_kg", "9 N", q.MASS, SI)
