"""Units that people type: factors against NIST SP 811, and refusal of every doubt."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tautlog.campaign.campaign import read_campaign
from tautlog.cli import run
from tautlog.desk.forms import number_in
from tautlog.errors import CampaignError, QuantityError
from tautlog.model import quantities as q
from tautlog.model.quantities import Quantity
from tautlog.model.units import TYPED, units_of

# NIST SP 811 (2008), Appendix B.8, as printed, to seven digits: unit, SI unit, factor.
SP_811_B8 = (
    ("lbf", "N", 4.448222),
    ("ft", "m", 3.048e-1),
    ("in", "m", 2.54e-2),
    ("lb", "kg", 4.535924e-1),
    ("ft lbf", "J", 1.355818),
    ("lbf/ft", "N/m", 1.459390e1),
    ("lbf/in", "N/m", 1.751268e2),
    ("ft/s", "m/s", 3.048e-1),
)
KINDS = [kind for kind in vars(q).values() if isinstance(kind, Quantity)]
KNOWN = {unit for sizes in TYPED.values() for unit in sizes} | {kind.unit for kind in KINDS}


@pytest.mark.parametrize(("unit", "si", "factor"), SP_811_B8)
def test_a_factor_is_that_of_the_published_table(unit, si, factor):
    assert units_of(si)[unit] == pytest.approx(factor, rel=5e-7 if factor != 0.0254 else 1e-15)


def test_pound_force_and_foot_pound_follow_from_exact_definitions():
    """SP 811 B.8, footnotes 22 and 23: 0.453 592 37 kg, and 9.806 65 m/s2 times that."""
    assert units_of("N")["lbf"] == pytest.approx(0.45359237 * 9.80665, rel=1e-15)
    assert units_of("J")["ft lbf"] == pytest.approx(0.45359237 * 9.80665 * 0.3048, rel=1e-15)
    assert units_of("N/m")["lbf/in"] == pytest.approx(12 * units_of("N/m")["lbf/ft"], rel=1e-15)


def test_a_slip_that_is_also_a_unit_has_the_same_size():
    for kind in KINDS:
        for unit, size in kind.slips:
            assert units_of(kind.unit).get(unit, size) == size, (kind, unit)


@given(st.sampled_from(KINDS), st.data())
def test_what_is_written_with_a_unit_is_read_back(kind, data):
    unit = data.draw(st.sampled_from([*units_of(kind.unit), ""]))
    value = data.draw(st.floats(kind.lowest, kind.highest).filter(lambda x: x > 1e-9))
    size = units_of(kind.unit).get(unit, 1.0)
    blank = data.draw(st.sampled_from(["", " "])) if unit else ""
    if unit[:1].isdigit():  # 1/m2 right behind a number cannot be told from it, and is refused
        blank = " "
    try:
        read = kind.typed(f"{value / size!r}{blank}{unit}")
    except QuantityError:  # the last bit fell over the end of the range
        assert min(abs(value / end - 1) for end in (kind.lowest, kind.highest) if end) < 1e-12
        return
    assert read == pytest.approx(value, rel=1e-12)


_PLAIN = re.compile(r" *[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?( ?(.+?))? *", re.ASCII)
_PIECES = st.sampled_from([*sorted(KNOWN), *"0123456789.,'_ +-eE", "kgf", "kp", "tons", "lbs", "k"])


@given(st.sampled_from(KINDS), st.one_of(st.text(max_size=12), st.lists(_PIECES, max_size=6)))
def test_only_one_plain_number_with_a_unit_of_the_dimension_is_taken(kind, text):
    text = "".join(text)
    try:
        kind.typed(text)
    except QuantityError:
        return
    found = _PLAIN.fullmatch(text)
    assert found, text
    assert not found[4] or found[4] in units_of(kind.unit), text


@given(st.floats(1, 1e3), st.sampled_from(["kg", "g", "lb"]), st.sampled_from(["N", "kN", "lbf"]))
def test_mass_and_force_are_never_mixed(value, mass, force):
    with pytest.raises(QuantityError, match="is a mass, and a force is wanted"):
        q.FORCE.typed(f"{value} {mass}")
    with pytest.raises(QuantityError, match="is a force, and a mass is wanted"):
        q.MASS.typed(f"{value} {force}")


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("1,5 kN", "decimal point"),
        ("1 450", "without blanks"),
        ("1\N{NO-BREAK SPACE}450 N", "without blanks"),
        ("5 k", "a prefix alone"),
        ("3 tons", "a mass or a force"),
        ("450 kgf", "9.80665 N"),
        ("450 kp", "9.80665 N"),
        ("2 KN", "did you mean kN"),
        ("100 lbs", "lbf for a force"),
    ],
)
def test_a_refusal_says_how_to_write_it(text, hint):
    with pytest.raises(QuantityError, match=hint):
        q.FORCE.typed(text)


def test_option_file_and_form_read_the_same(tmp_path, capsys):
    (tmp_path / "campaign.toml").write_text('[requirement]\ntarget_n = "1450 lbf"\n')
    assert read_campaign(tmp_path).setup.target_n == pytest.approx(6449.92134, abs=1e-4)
    assert number_in("target_n", "1450 lbf", q.FORCE) == pytest.approx(6449.92134, abs=1e-4)
    stiff = ("--stiffness", "20 kN/m", "--json")
    assert run(["plan", "--mass", "20 lb", "--height", "4 ft", *stiff]) == 0
    with_units = capsys.readouterr().out
    in_si = ("--mass", "9.0718474", "--height", "1.2192", "--stiffness", "20000", "--json")
    assert run(["plan", *in_si]) == 0
    assert with_units == capsys.readouterr().out


@pytest.mark.parametrize("value", ['"450 kg"', '"1,5 kN"', '"1 450"', '"1450"', '"5 k"'])
def test_a_file_refuses_doubt_with_its_line(tmp_path, value):
    (tmp_path / "campaign.toml").write_text(f"[requirement]\ntarget_n = {value}\n")
    with pytest.raises(CampaignError, match=r"line 2: \[requirement\] target_n"):
        read_campaign(tmp_path)
