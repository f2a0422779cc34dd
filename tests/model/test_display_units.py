"""Units of display: factors against published ones, and what is shown can be typed back."""

import pytest
import scipy.constants
from hypothesis import given
from hypothesis import strategies as st

from tautlog.errors import QuantityError
from tautlog.model.display_units import CHOICES, SI, Units, units_named
from tautlog.model.units import number_typed

ALL = st.builds(Units, **{kind: st.sampled_from(known) for kind, known in CHOICES.items()})
# NIST SP 811 (2008), appendix B.8, as printed, to seven digits.
SP_811_B8 = {
    ("N", "lbf"): 4.448222,
    ("m", "ft"): 3.048e-1,
    ("m", "in"): 2.54e-2,
    ("kg", "lb"): 4.535924e-1,
    ("J", "ft lbf"): 1.355818,
}
SCIPY = {
    ("N", "lbf"): scipy.constants.lbf,
    ("m", "ft"): scipy.constants.foot,
    ("m", "in"): scipy.constants.inch,
    ("kg", "lb"): scipy.constants.lb,
    ("J", "ft lbf"): scipy.constants.foot * scipy.constants.lbf,
}


@pytest.mark.parametrize(("si", "name"), SP_811_B8)
def test_sizes_are_those_of_the_published_table_and_of_another_library(si, name):
    unit = units_named([name] if name != "lb" else ["N", name]).of(si)
    assert unit.name == name
    assert unit.size == pytest.approx(SP_811_B8[si, name], rel=5e-7)
    assert unit.size == pytest.approx(SCIPY[si, name], rel=1e-14)


@pytest.mark.parametrize(
    ("named", "si", "unit", "size"),
    [
        # NIST SP 811 (2008), appendix B.8: lbf/ft, lbf/in, ft/s.
        ("lbf,ft", "N/m", "lbf/ft", 14.59390),
        ("lbf,in", "N/m", "lbf/in", 175.1268),
        ("lbf,in", "kN/m", "lbf/in", 0.1751268),
        ("ft", "m/s", "ft/s", 0.3048),
        ("ft", "mm", "in", 25.4),
        ("kN", "N/m", "kN/m", 1000.0),
        ("kN,mm", "N/m", "kN/mm", 1e6),
        ("mm", "mm", "mm", 1.0),
        ("lbf", "N s", "lbf s", 4.448222),
        ("lbf,ft", "Hz", "Hz", 1.0),
    ],
)
def test_units_made_of_others_follow_from_them(named, si, unit, size):
    made = units_named(named.split(",")).of(si)
    assert made.name == unit
    assert made.size == pytest.approx(size, rel=5e-7)


@given(ALL, st.sampled_from(["N", "m", "J", "kg", "N/m"]), st.floats(1e-3, 1e6))
def test_what_is_shown_is_read_back_within_its_last_digit(units, si, value):
    for form in (".0f", ".1f", ".3f", ".4g", ".6g"):
        shown = units.text(value, si, form)
        back = number_typed(shown, si)
        digits = shown.split()[0]
        last = 10.0 ** -len(digits.partition("e")[0].partition(".")[2]) * units.of(si).size
        if form.endswith("g"):  # of the first digits only
            last = 10.0 ** (1 - int(form[1])) * value
        assert abs(back - value) <= 0.5000001 * last, shown


@given(ALL, st.floats(-1e6, 1e6))
def test_a_last_digit_is_never_coarser_than_that_of_si(units, value):
    shown = float(units.number(value, "N", ".0f")) * units.of("N").size
    assert abs(shown - value) <= 0.5000001


def test_si_is_shown_as_it_always_was():
    assert SI.text(1890.44, "N") == "1890 N"
    assert SI.text(1.2, "m", ".3f") == "1.200 m"
    assert SI.band(1800.0, 1980.0, "N") == "1800 to 1980 N"
    assert SI.label("peak force, N") == "peak force, N"
    assert SI.factors == ()


def test_a_report_can_name_each_factor_with_its_source():
    told = units_named(["lbf", "ft", "ft lbf", "lb"]).factors
    assert told == (
        "1 lbf = 4.4482216152605 N (NIST SP 811 (2008), appendix B.8, exact)",
        "1 ft = 0.3048 m (NIST SP 811 (2008), appendix B.8, exact)",
        "1 ft lbf = 1.3558179483314 J (lbf times ft of NIST SP 811 (2008), appendix B.8)",
        "1 lb = 0.45359237 kg (NIST SP 811 (2008), appendix B.8, exact)",
    )


@pytest.mark.parametrize(
    ("named", "says"),
    [
        ("kgf", "force N, kN, lbf; length m, mm, ft, in; energy J, ft lbf; mass kg, lb"),
        ("LBF", "'LBF' is no unit that is shown"),
        ("", "'' is no unit that is shown"),
        ("", "write units with commas between, such as lbf,ft"),
        ("LBF", "did you mean lbf?"),
        ("kn", "did you mean kN?"),
        ("pound", "write lb for a mass, lbf for a force"),
        ("lbs", "write lb for a mass, lbf for a force"),
        ("tons", "a ton may be a mass or a force"),
        ("kgf", "a kilogram-force is 9.80665 N"),
        ("lbf ft", "write units with commas between, such as lbf,ft"),
        ("lbf,,ft", "'' is no unit that is shown"),
        ("lbf,N", "lbf is named beside N: give one unit of force"),
        ("ft,ft", "ft is named twice: give one unit of length"),
        ("lb", "write lbf,lb to see both in pounds, or N,lb"),
        ("ft,lb", "no unit of force is named beside it"),
    ],
)
def test_doubt_is_refused_with_what_is_known(named, says):
    with pytest.raises(QuantityError) as told:
        units_named(named.split(","))
    assert says in str(told.value)


@given(ALL)
def test_a_page_brings_back_the_units_that_it_was_shown_in(units):
    assert units_named(units.key.split(",")) == units


def test_an_unknown_unit_cannot_be_constructed():
    with pytest.raises(QuantityError, match="known for force: N, kN, lbf"):
        Units(force="kgf")


@given(st.floats(1.0, 1e6), st.floats(0.0, 1e3), ALL)
def test_a_band_that_proves_is_rounded_inwards(low, width, units):
    first, _, rest = units.inner_band(low, low + width, "N").partition(" to ")
    last, _, name = rest.partition(" ")
    size = units.of("N").size
    assert name == units.force
    tie = 1e-9 * low
    if width > 1e-6 * low:
        assert low - tie <= float(first) * size
        assert float(last) * size <= low + width + tie
        assert float(first) <= float(last)
