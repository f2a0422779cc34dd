"""Legends of overlays, and the levels of a plan's picture."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from test_report_answer import MARKS, drop

from tautlog.display.overlay_words import curve_words
from tautlog.display.pictures.overlay import NumberedCurve, draw_overlay
from tautlog.display.pictures.prediction import draw_prediction
from tautlog.display.views import Curve
from tautlog.model.origin import IMPORTED, REHEARSED
from tautlog.planning.prediction import Prediction

LINE = replace(MARKS, line_stiffness_n_per_m=20_800.0, energy_absorbed_j=114.0, max_stretch_m=0.088)


@pytest.mark.parametrize(
    ("told", "page", "expected"),
    [
        (drop(1, "pass"), "contact", "x, 1890 +/- 60 N, ON TARGET, PASS proposed, CFC none"),
        (drop(1, "fail", "pass"), "contact", "x, 1890 +/- 60 N, ON TARGET, PASS decided, CFC none"),
        (drop(1, "pending", origin=REHEARSED), "contact", "x, REHEARSAL, 1890 +/- 60 N, ON TARGET"),
        (drop(1, "pending", origin=IMPORTED), "contact", "x, IMPORTED, 1890 +/- 60 N, ON TARGET"),
        (
            drop(1, "pass", marks=LINE),
            "stretch",
            "x, 20.8 kN/m, 114 J absorbed, 88 mm stretch, CFC none",
        ),
        (drop(1, "pass"), "stretch", "x, stiffness and energy not determined, CFC none"),
    ],
)
def test_a_curve_is_named_with_what_it_says(told, page, expected):
    assert curve_words(replace(told.drop, path=Path("x.h5")), page).startswith(expected)


def test_numbers_of_equal_peaks_do_not_cover_each_other():
    x = np.linspace(0.0, 0.06, 200)
    curves = [
        NumberedCurve(n, f"{n} x", Curve("x", x, 1890.0 * np.sin(np.pi * x / 0.06)))
        for n in range(1, 9)
    ]
    axes = draw_overlay(curves, target_n=1800.0, limit_n=1980.0).axes[0]
    low, high = axes.get_ylim()
    at = sorted(text.xyann[1] for text in axes.texts if text.get_text().isdigit())
    assert len(at) == 8
    assert np.diff(at).min() > 0.03 * (high - low)
    assert at[-1] < high
    named = {text.get_text() for text in axes.texts}
    assert {"target 1800 N", "limit 1980 N"} <= named


def test_a_plan_shows_target_and_limit():
    x = np.linspace(0.0, 0.06, 50)
    predicted = Prediction(
        **{
            name: 1.0
            for name in Prediction.__dataclass_fields__
            if name not in ("peak_force_n", "peak_low_n", "peak_high_n")
        },
        peak_force_n=1000.0,
        peak_low_n=900.0,
        peak_high_n=1100.0,
    )
    force = 1000.0 * np.sin(np.pi * x / 0.06)
    axes = draw_prediction(x, force, predicted, "t", target_n=1800.0, limit_n=1980.0).axes[0]
    named = [text.get_text() for text in axes.get_legend().get_texts()]
    assert named[2:] == ["target 1800 N", "limit 1980 N"]
    assert axes.get_ylim()[1] > 1980.0
