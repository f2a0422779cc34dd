"""Days that people type: one form is taken, and the right form is told."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tautlog.model.timestamp import day_problem, form_problem


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("31.12.2024", "such as 2024-12-31"),
        ("31/12/2024", "such as 2024-12-31"),
        ("12/31/24", "such as 2024-12-31"),
        ("3/4/2024", "such as 2024-04-03 or 2024-03-04"),
        ("3.4.2024", "such as 2024-04-03"),
        ("2024/12/31", "such as 2026-03-01"),
        ("2024-3-1", "such as 2026-03-01"),
        ("20241231", "such as 2026-03-01"),
        ("2024-W01-1", "such as 2026-03-01"),
        ("32.13.2024", "such as 2026-03-01"),
    ],
)
def test_another_form_is_refused_and_the_right_one_told(typed, told):
    assert day_problem(typed).endswith(told)


@given(st.dates())
def test_only_the_iso_form_is_taken(day):
    assert form_problem(day.isoformat()) == ""
    for form in ("%d.%m.%Y", "%d/%m/%Y", "%m/%d/%y", "%Y%m%d", "%Y-%j"):
        assert form_problem(day.strftime(form))
