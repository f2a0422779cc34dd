"""What the analogue sheet says, and what the tool reckons for the same campaign.toml."""

import math
import re
import tomllib

import front_end
import pytest
from brought_up import bring_up
from command_line import said
from figures import analogue as figures
from figures import noise
from figures import response as reckoned
from kites import kite_in
from sheets import NOTES

from tautlog.analysis.analog_filter import judge_filter
from tautlog.board.shunt import shunt_step_mv_per_v
from tautlog.model.limits import HEADROOM
from tautlog.planning.electronics_advice import Electrics, advise, gain_for, shunt_step_n

SHEET = (NOTES / "2_analogue.md").read_text(encoding="utf-8")


def block(language):
    return re.search(rf"```{language}\n(.*?)```", SHEET, re.DOTALL)[1]


def with_the_sheets_lines(kite):
    """Put the sheet's lines into a new campaign.toml, whether they were commented out or not."""
    path = kite / "campaign.toml"
    text = path.read_text(encoding="utf-8")
    for section, values in tomllib.loads(block("toml")).items():
        for key, value in values.items():
            shown = f'"{value}"' if isinstance(value, str) else repr(value)
            pattern = rf"(^\[{section}\]\n(?:(?!\[).*\n)*?)(?:# )?{key} = .*$"
            line = rf"\g<1>{key} = {shown}"
            text, count = re.subn(pattern, line, text, count=1, flags=re.MULTILINE)
            assert count == 1, key
    path.write_text(text, encoding="utf-8")


def test_the_program_plans_with_the_sheets_lines_as_the_sheet_says(tmp_path, monkeypatch, capsys):
    kite = kite_in(tmp_path, monkeypatch)
    with_the_sheets_lines(kite)
    bring_up(kite)  # the sheet states a shunt, whose step is then asked for
    status, out, err = said(capsys, "plan")
    assert status == 0, err
    plain = " ".join(out.split())
    for line in block("text").splitlines():
        assert " ".join(line.split()) in plain, line
    assert f"checked against {figures.UPPER_N:.0f} N, the upper end of the prediction" in plain
    # A new campaign knows no strengths; nothing else is doubted.
    looks = re.findall(r"(?:LOOK:|REFUSE) +(.*)", out)
    assert [look for look in looks if "[[element]]" not in look] == []


def test_a_wrong_gain_is_told_by_the_program(tmp_path, monkeypatch, capsys):
    kite = kite_in(tmp_path, monkeypatch)
    with_the_sheets_lines(kite)
    path = kite / "campaign.toml"
    path.write_text(path.read_text().replace("gain = 568.0", "gain = 658.0"))
    assert re.search(r"LOOK: +gain: 658", said(capsys, "plan")[1])


def electrics(**other):
    given = {
        "rated_n": figures.RATED_N,
        "sensitivity_mv_per_v": figures.SENSITIVITY_MV_PER_V,
        "excitation_v": figures.EXCITATION_V,
        "gain": 568.0,
        "zero_v": figures.LEVEL_V,
        "rail_high_v": figures.HIGH_V,
        "reference_v": figures.EXCITATION_V,
        "bandwidth_hz": 2500.0,
        "filter_poles": 2,
        "converter": "RP2040",
        "weights_n": figures.WEIGHTS_N,
    }
    return Electrics(**given | other)


def test_the_tool_finds_nothing_wrong_with_it():
    wrong = [check for check in advise(electrics(), figures.UPPER_N, 0.062) if not check.holds]
    assert wrong == []


def test_the_tool_reckons_the_same():
    chain = electrics()
    assert HEADROOM == figures.HEADROOM
    assert chain.newton_per_count == pytest.approx(figures.newton_step(), rel=0.001)
    assert gain_for(chain, figures.wanted_range()) == pytest.approx(figures.most_gain())
    assert shunt_step_mv_per_v(350.0, 100e3) == pytest.approx(noise.shunt_step())
    assert shunt_step_n(chain, 350.0, 100e3) == pytest.approx(noise.shunt_force())
    for cfc in (180, 600):
        found = judge_filter(2500.0, 2, 500_000.0, cfc)
        assert found.flat
        assert found.keeps_out
        assert found.attenuation_db == pytest.approx(reckoned.tool_out(), abs=0.01)
        assert found.allowed_db == pytest.approx(reckoned.left_class())
    assert not judge_filter(1000.0, 1, 500_000.0, 600).flat
    assert not judge_filter(1000.0, 1, 500_000.0, 1000).flat


def test_the_bound_of_the_tool_is_one():
    """It knows 2500 Hz and two poles; the real response loses less and keeps out more."""
    for hz in (600.0, 1000.0, 5000 / 3):
        pole_hz = 2500 / math.sqrt(math.sqrt(2) - 1)
        assert front_end.loss_db(hz) < 20 * math.log10(1 + (hz / pole_hz) ** 2)
    assert reckoned.out_conversions() > reckoned.tool_out()


@pytest.mark.parametrize("cfc", [180, 600])
def test_another_cell_by_the_sheets_rules(cfc):
    """2 kN, 1 mV/V: the rules' gain passes, the next larger value of R111 does not."""
    other = {
        "rated_n": figures.OTHER_RATED_N,
        "sensitivity_mv_per_v": figures.OTHER_MV_PER_V,
        "gain": figures.other_gain(),
        "weights_n": 98.0,
    }
    length_s = 1.2 / cfc
    checks = advise(electrics(**other), figures.OTHER_UPPER_N, length_s)
    assert [check for check in checks if not check.holds] == []
    larger = figures.other_gain() / (1 + 82 / 10) * (1 + 100 / 10)
    checks = advise(electrics(**other | {"gain": larger}), figures.OTHER_UPPER_N, length_s)
    assert [check.code for check in checks if not check.holds] == ["gain"]
