"""An excerpt tells the same of a drop, at the times of its record."""

import re
from dataclasses import fields, replace

import numpy as np
import pytest
from drops import KINDS, random_drop

from tautlog.analysis.marking import mark
from tautlog.model.marks import Marks

LATER_S = 128.0
TIMES = (
    *("release_time_s", "onset_time_s", "slack_time_s", "peak_time_s", "break_time_s"),
    *("first_damage_time_s", "flash_time_s", "article_wire_s", "mount_wire_s"),
)
OTHERS = [
    one.name
    for one in fields(Marks)
    if one.name not in (*TIMES, "findings", "budgets", "curve", "bounce_list")
]


def later(time_s):
    return None if time_s is None else time_s + LATER_S


def near(value):
    return pytest.approx(value, rel=1e-6, abs=1e-9) if isinstance(value, float) else value


@pytest.mark.parametrize("kind", KINDS)
def test_a_trace_that_begins_later_has_the_same_marks_later(kind):
    drop = random_drop(7, kind)
    broke = drop.trace.article_wire_s or 0.9
    trace = replace(drop.trace, article_wire_s=broke)
    moved = replace(
        trace,
        begins_s=LATER_S,
        release_time_s=later(trace.release_time_s),
        article_wire_s=later(broke),
    )
    here, there = (mark(one, drop.setup, cfc=drop.cfc) for one in (trace, moved))
    for name in TIMES:
        assert getattr(there, name) == near(later(getattr(here, name))), name
    for name in OTHERS:
        assert getattr(there, name) == near(getattr(here, name)), name
    assert [one.time_s - LATER_S for one in there.bounce_list] == pytest.approx(
        [one.time_s for one in here.bounce_list]
    )
    assert there.curve.time_s[0] == LATER_S
    assert np.array_equal(there.curve.force_n, here.curve.force_n, equal_nan=True)
    assert [one.code for one in there.findings] == [one.code for one in here.findings]
    for one, other in zip(there.findings, here.findings, strict=True):
        assert_later(one.text, other.text)


def assert_later(text, before):
    """Each instant in a text is later; all other words are the same."""
    instant = re.compile(r"\d+\.\d{4}(?= s)")
    assert instant.sub("", text) == instant.sub("", before)
    for one, other in zip(instant.findall(text), instant.findall(before), strict=True):
        assert float(one) == pytest.approx(float(other) + LATER_S, abs=1.01e-4)
