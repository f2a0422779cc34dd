"""A further pull: two drops in one record, and one drop that bounces as it may."""

import numpy as np
import pytest
from traces import RATE_HZ, arrest, recorded

from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.model.trace import DropSetup

SETUP = DropSetup(mass_kg=9.0, height_m=1.2)


def twice(share, pause_s, height_m=1.2, damping_ratio=0.1):
    """A drop, the line slack for a while, and the same again, less hard."""
    _, force_n = arrest(9.0, height_m, 20e3, damping_ratio, total_s=3.0)
    again = np.concatenate([np.zeros(int(pause_s * RATE_HZ)), share * force_n])
    return recorded(np.concatenate([force_n, again]), noise_n=0.5)


@pytest.mark.parametrize("share", [0.4, 0.97, 0.9999, 1.2])
def test_a_second_drop_is_told(share):
    marks = mark(twice(share, 2.0), SETUP, cfc=60)
    assert "the record holds two loads" in marks.text_of("further-pull")
    assert judge(marks, SETUP).record_verdict != "valid"


def test_it_is_told_without_mass_and_height():
    marks = mark(twice(0.9, 4.0), DropSetup(), cfc=60)
    assert marks.has("further-pull")


@pytest.mark.parametrize("damping_ratio", [0.0, 0.02, 0.1, 0.3])
@pytest.mark.parametrize(
    ("mass_kg", "height_m", "stiffness"),
    [(9.0, 1.2, 20e3), (25.0, 2.0, 9e3), (3.0, 0.05, 150e3), (9.0, 0.05, 2e3), (40.0, 3.0, 4e3)],
)
def test_bounces_are_none(mass_kg, height_m, stiffness, damping_ratio):
    """Those of a line without loss are as high as the drop, to the end of the record."""
    _, force_n = arrest(mass_kg, height_m, stiffness, damping_ratio, total_s=8.0)
    for setup in (DropSetup(mass_kg=mass_kg, height_m=height_m), DropSetup()):
        marks = mark(recorded(force_n, noise_n=0.5), setup, cfc=60)
        assert not marks.has("further-pull"), marks.text_of("further-pull")
