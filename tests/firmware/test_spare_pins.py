"""Which pins a test of the converter may use, by the board's own config.py."""

import types

import pytest

from tautlog.firmware import config as delivered


@pytest.fixture
def spare_pins(monkeypatch):
    import spare_pins  # as on a board: its neighbours by bare names

    return spare_pins


def changed(**values):
    names = {name: getattr(delivered, name) for name in dir(delivered) if name.isupper()}
    return types.SimpleNamespace(**{**names, **values})


def test_the_delivered_config_leaves_the_default_pins_free(spare_pins):
    assert spare_pins.why_not(delivered, [], 9, 28) == ""


def test_the_pin_of_a_readback_is_not_spare(spare_pins):
    config = changed(READBACKS=(("gate", 9),))
    assert "GP9 is READBACKS gate in config.py" in spare_pins.why_not(config, [], 9, 28)


@pytest.mark.parametrize(
    ("ramp", "channel", "said"),
    [
        (12, 28, "GP12 is PIN_DRIVE in config.py"),
        (22, 28, "GP22 is PIN_STRAP in config.py"),
        (23, 28, "GP23 cannot give the ramp"),  # the board's own supply
        (-1, 28, "GP-1 cannot give the ramp"),
        (9, 26, "GP26 is in PIN_CONVERTER of config.py"),
        (9, 29, "GP29 is no converter's"),
    ],
)
def test_pins_in_use_are_refused(spare_pins, ramp, channel, said):
    assert said in spare_pins.why_not(delivered, [], ramp, channel)


def test_every_pin_of_the_config_is_refused(spare_pins):
    used = changed(CONVERTER_BITS=16)  # its three wires, too
    for name in dir(delivered):
        if name.startswith("PIN_") and name != "PIN_CONVERTER":
            pin = getattr(delivered, name)
            assert spare_pins.why_not(used, [], pin, 28) != ""


def test_a_moved_drive_is_refused_where_it_is(spare_pins):
    assert "PIN_DRIVE" in spare_pins.why_not(changed(PIN_DRIVE=9), [], 9, 28)
    assert "PIN_CONVERTER" in spare_pins.why_not(changed(PIN_CONVERTER=(26, 28)), [], 9, 28)
    # A line that a later config may have.
    assert "PIN_LATER" in spare_pins.why_not(changed(PIN_LATER=9), [], 9, 28)


def test_of_a_wrong_config_nothing_is_known(spare_pins):
    assert "nothing is known: PIN_KEY" in spare_pins.why_not(delivered, ["PIN_KEY = -1"], 9, 28)
    assert "nothing is known" in spare_pins.why_not(None, ["config.py cannot be read"], 9, 28)


def test_all_outputs_are_the_configs(spare_pins):
    assert all(hasattr(delivered, name) for name in spare_pins.OUTPUTS)
