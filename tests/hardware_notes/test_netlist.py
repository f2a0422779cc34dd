"""The netlist is one, is what the firmware takes it for, and is what is drawn."""

import dataclasses
import html
import re
from functools import cache
from xml.etree import ElementTree

import netlist as netlists
import pytest
import schematic
import schemdraw.elements as elm
import tables
import wiring
from netlist import BOARD, NetlistError, read_netlist, the_netlist

import config
import config_check

THE = the_netlist()


@cache
def drawn(name):
    """A drawing, made once; each takes a second, so that none is made while tests are collected."""
    return wiring.DRAWINGS[name](THE)


GOOD = """
[[part]]
name = "R1"
kind = "resistor"
sheet = "inputs"
pins = ["1", "2"]

[[part]]
name = "R2"
kind = "resistor"
sheet = "inputs"
pins = ["1", "2"]
open = ["2"]

[[net]]
name = "A"
pins = ["R1.1", "R2.1"]
sheet = "inputs"
what = "one end"

[[net]]
name = "B"
pins = ["R1.2", "R3.1"]
sheet = "inputs"
what = "the other"

[[part]]
name = "R3"
kind = "resistor"
sheet = "inputs"
pins = ["1"]
"""


def read(tmp_path, *texts):
    paths = []
    for number, text in enumerate(texts):
        paths.append(tmp_path / f"netlist{number}.toml")
        paths[-1].write_text(text, encoding="utf-8")
    return read_netlist(*paths)


# The firmware


def test_each_pin_of_config_py_is_the_pin_that_the_netlist_gives_it():
    said = {pin.config: pin.pin for pin in THE.board_pins.values() if pin.config}
    names = (*config_check.PINS, *config_check.THREE_WIRES)
    wanted = {name: f"GP{getattr(config, name)}" for name in names}
    wanted["PIN_CONVERTER"] = f"GP{config.PIN_CONVERTER[0]}"
    assert said == wanted


def test_pins_are_those_that_the_firmware_allows():
    taken = [THE.board_pins[f"GP{number}"] for number in range(23)]
    assert len({pin.number for pin in taken}) == 23
    for gpio in (23, 24, 29):
        assert f"GP{gpio}" in THE.parts[BOARD].open


def test_readbacks_have_pins_that_nothing_else_uses():
    used = {getattr(config, name) for name in (*config_check.PINS, *config_check.THREE_WIRES)}
    for name in ("STOP", "GATE", "PIN"):
        pin = next(one for one in THE.nets[f"{name}_PIN"].pins if one.startswith(f"{BOARD}."))
        assert int(pin.removeprefix(f"{BOARD}.GP")) not in used


def test_what_config_py_closes_to_ground_has_a_contact_to_ground_in_the_netlist():
    for name in ("SWITCH", "KEY", "ARTICLE", "MOUNT", "STOP", "GATE", "PIN"):
        wire = THE.nets[f"{name}_WIRE"]
        part = wire.pins[0].split(".")[0]
        other = [p for p in THE.nets["GND"].pins if p.split(".")[0] == part]
        assert len(other) == 1, part
        assert wire.wire == "cable"


def test_drive_is_pulled_down_by_no_more_than_the_erratum_allows():
    value = THE.parts["R302"].value
    assert {"PICO.GP12", "R302.1"} <= THE.pins_of_net("DRIVE")
    assert "R302.2" in THE.pins_of_net("GND")
    assert value.endswith(" kohm")
    assert float(value.split()[0]) <= 8.2


def test_no_conductor_joins_coil_and_board_but_the_bleeder():
    """Walk the coil circuit through every part; opto-couplers pass light only."""
    start, seen, wait = "BATTERY_MINUS", set(), ["BATTERY_MINUS"]
    halves = {"A": "AK", "K": "AK", "C": "CE", "E": "CE"}
    while wait:
        net = wait.pop()
        if net in seen:
            continue
        seen.add(net)
        for pin in THE.nets[net].pins:
            name, _, terminal = pin.rpartition(".")
            if name == "R401":
                continue
            ends = THE.parts[name].pins
            if name.startswith("OK"):
                ends = tuple(halves[terminal])
            if name.startswith("S30"):  # poles are separate
                ends = (
                    tuple(one for one in ends if one[0] == terminal[0])
                    if terminal[0] in "AB"
                    else (("11", "12") if terminal in ("11", "12") else ("13", "14"))
                )
            wait.extend(
                THE.net_of[f"{name}.{one}"] for one in ends if f"{name}.{one}" in THE.net_of
            )
    assert start in seen
    assert "CHAIN_1" in seen
    assert not seen & {"GND", "AGND", "3V3", "5V", "DRIVE", "PUMP"}


def test_shield_and_box_meet_nowhere_but_at_the_star_point():
    assert "BOX.SCREW" in THE.pins_of_net("GND")
    assert THE.net_of["J101.SHELL"] == "SHIELD"
    assert {pin for pin in THE.nets["SHIELD"].pins if pin.startswith("LK")} == {"LK101.1"}
    assert "LK101.2" in THE.pins_of_net("AGND")
    assert "INSULATED" in THE.parts["J101"].look_for


def test_the_one_shot_s_grounds_are_joined_outside_it():
    """Pins 1, 8 and 15, by a maker's pin diagram (sources.md, S105); the capacitor's foot too."""
    assert {"IC301.1", "IC301.8", "IC301.15", "C303.2"} <= THE.pins_of_net("GND")


def test_the_usb_reaches_the_board_without_the_isolator():
    assert THE.pins_of_net("USB") == {"LAPTOP.USB", "PICO.USB"}
    assert THE.parts["U401"].optional


# The drawings


def test_the_drawings_are_the_netlist():
    assert list(wiring.differences(THE, [drawn(name) for name in wiring.DRAWINGS])) == []


@pytest.mark.parametrize("name", wiring.DRAWINGS)
def test_no_label_lies_over_another_a_line_or_a_part(name):
    assert list(drawn(name).clashes()) == []


@pytest.mark.parametrize("name", wiring.DRAWINGS)
def test_each_drawing_is_legible_at_its_width(name):
    frame = drawn(name).frame()
    scale = schematic.WIDTH_PX / ((frame.right - frame.left) * schematic.PX)
    assert min(text.size for text in drawn(name).texts) * scale >= 10.5


def test_every_part_is_drawn():
    seen = {part for name in wiring.DRAWINGS for part in drawn(name).parts}
    assert seen == set(THE.parts)


def test_the_overview_has_every_connector_and_every_thing_on_the_rig():
    words = " ".join(line for text in drawn("overview").texts for line in text.lines)
    for part in THE.parts.values():
        if (part.sheet != "analogue" and part.name[0] in "XSWHL") or part.name == "J101":
            assert part.name in words, part.name


def test_a_drawing_that_joins_two_nets_is_told():
    one = schematic.Schematic(THE, "wrong")
    one.two("R211", elm.ResistorIEC, ((0, 0), (2, 0)))
    one.wire((0, 0), (0, 1), (2, 1), (2, 0))
    assert any("are joined" in text for text in wiring.differences(THE, [one]))


def test_a_net_in_two_places_without_its_name_is_told():
    one = schematic.Schematic(THE, "wrong")
    one.two("R211", elm.ResistorIEC, ((0, 0), (2, 0)))
    one.two("R213", elm.ResistorIEC, ((3, 0), (5, 0)))
    assert any("SWITCH_IN is drawn in 2" in text for text in wiring.differences(THE, [one]))
    one.wire((2, 0), (3, 0))
    assert not any("SWITCH_IN is drawn in 2" in text for text in wiring.differences(THE, [one]))


def test_wires_that_cross_do_not_join_and_wires_that_end_on_another_do():
    one = schematic.Schematic(THE, "crossing")
    one.wire((0, 0), (2, 0))
    one.wire((1, -1), (1, 1))
    assert list(one.junctions()) == []
    one.wire((0.5, 1), (0.5, 0))
    assert list(one.junctions()) == [(0.5, 0)]


def test_labels_over_one_another_are_told():
    one = schematic.Schematic(THE, "wrong")
    one.text((0, 0), "start", ["one"])
    one.text((0.1, 0), "start", ["two"])
    assert len(list(one.clashes())) == 1


def test_a_part_that_is_not_in_the_netlist_is_not_drawn():
    with pytest.raises(NetlistError, match="not in the netlist"):
        schematic.Schematic(THE, "wrong").pin("R999", "1", (0, 0))


# The tables


def test_every_part_stands_in_the_tables_once():
    rows = [
        line
        for name, text in tables.tables(THE).items()
        if "parts" in name
        for line in text.split("\n")
    ]
    for part in THE.parts:
        named = [
            row
            for row in rows
            if part in row.split("|")[1].replace("(optional)", "").replace(",", " ").split()
        ]
        assert len(named) == 1, part


def test_each_cable_says_what_is_seen_when_it_is_opened_and_shorted():
    made = tables.tables(THE)
    text = " ".join(made[f"cables {one}"] for one in ("inputs", "release", "power"))
    for net in (net for net in THE.cables() if net.sheet != "analogue"):
        assert net.name in text
        assert net.opened
        assert net.shorted


# What a netlist is


def test_a_good_netlist_is_read(tmp_path):
    found = read(tmp_path, GOOD)
    assert found.net_of == {"R1.1": "A", "R2.1": "A", "R1.2": "B", "R3.1": "B"}


def test_two_files_share_a_net(tmp_path):
    more = GOOD.split("[[part]]")[-1]
    first = GOOD.replace('pins = ["R1.2", "R3.1"]', 'pins = ["R1.2"]').replace(
        "[[part]]" + more, ""
    )
    second = "[[part]]" + more + '[[net]]\nname = "B"\npins = ["R3.1"]\nsheet = "inputs"\n'
    assert set(read(tmp_path, first, second).nets["B"].pins) == {"R1.2", "R3.1"}


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('open = ["2"]', "", "R2.2 is in no net"),
        ('open = ["2"]', 'open = ["3"]', "none of its pins"),
        ('open = ["2"]', 'open = ["1", "2"]', "is said to be open"),
        ('"R1.2", "R3.1"', '"R1.2", "R3.1", "R1.1"', "a pin is in one"),
        ('"R1.2", "R3.1"', '"R1.2", "R3.1", "R9.1"', "no part is called 'R9'"),
        ('"R1.2", "R3.1"', '"R1.2", "R3.1", "R3.2"', "R3 has the pins"),
        ('what = "the other"', "", "no file says what it carries"),
        ('what = "the other"', 'what = "x"\nwire = "cable"', "`opened`"),
        ('what = "the other"', 'what = "x"\nwire = "air"', "must be one of board, cable"),
        ('what = "the other"', "what = 3", "must be str"),
        ('what = "the other"', 'whta = "x"', "no key is called whta"),
        ('name = "R3"', 'name = "R1"', "is there twice"),
        ('name = "R3"', "", "name is missing"),
        ('pins = ["1"]', 'pins = "1"', "must be a list of texts"),
        ('sheet = "inputs"', 'sheet = "roof"', "must be one of analogue"),
        ("[[part]]", "[part]", "cannot be read"),
        ("[[net]]", "[[nets]]", "there are [[part]], [[net]] and [[pin]]"),
    ],
)
def test_what_is_wrong_is_told(tmp_path, old, new, told):
    with pytest.raises(NetlistError) as caught:
        read(tmp_path, GOOD.replace(old, new))
    assert told in str(caught.value)


def test_a_file_that_is_no_text_is_told(tmp_path):
    path = tmp_path / "netlist.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(NetlistError, match="cannot be read"):
        read_netlist(path)


def test_frozen():
    with pytest.raises(dataclasses.FrozenInstanceError):
        THE.parts[BOARD].name = "other"
    assert tuple(tables.SHEET) == netlists.SHEETS


@pytest.mark.parametrize("name", wiring.DRAWINGS)
def test_a_drawing_says_its_labels_as_they_are(name):
    """Rounding its coordinates must not round what it says."""
    said = re.findall(r"<text[^>]*>([^<]*)</text>", drawn(name).svg())
    wanted = [html.escape(line) for text in drawn(name).texts for line in text.lines]
    assert said == wanted


@pytest.mark.parametrize("name", wiring.DRAWINGS)
def test_a_drawing_is_svg_without_long_numbers(name):
    text = drawn(name).svg()
    ElementTree.fromstring(text)
    assert not re.search(r"\d\.\d{3}", text)
    assert text == wiring.DRAWINGS[name](THE).svg()
