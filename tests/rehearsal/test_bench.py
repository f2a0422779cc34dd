"""The wires of a rehearsed rig, without a board."""

import socket

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tautlog.errors import CampaignError, LinkError
from tautlog.firmware import wire
from tautlog.model.wiring import INPUTS
from tautlog.rehearsal.bench import Bench
from tautlog.rehearsal.bench_port import BenchLine, BenchPort
from tautlog.rehearsal.scene import default_scene

ALL = 15
SCENE = default_scene()


def bench(**options):
    return Bench(SCENE, **options)


@pytest.mark.parametrize("name", INPUTS)
def test_a_wire_opens_and_a_short_outlasts_the_hand(name):
    one, bit = bench(), INPUTS[name]
    assert one.read(ALL) == ALL
    one.do(f"open {name}")
    assert one.read(ALL) == ALL & ~bit
    one.do(f"fault short {name}")
    assert one.read(ALL) == ALL
    one.do(f"fault open {name}")
    one.do(f"mend {name}")
    assert one.read(ALL) == ALL & ~bit
    one.do(f"fault mended {name}")
    assert one.read(ALL) == ALL


def test_readbacks_open_by_name_and_other_bits_pass():
    one = bench(readbacks=("stop", "gate"))
    inputs = ALL | wire.INPUT_READBACK | wire.INPUT_READBACK << 1 | 0x100
    assert one.read(inputs) == inputs
    one.do("open gate")
    assert one.read(inputs) == inputs & ~(wire.INPUT_READBACK << 1)
    assert bench().read(inputs) == inputs


def test_exchanged_break_wires_read_each_the_others():
    one = bench()
    one.do("fault exchanged article-wire")
    one.do("open article-wire")
    assert one.read(ALL) == ALL & ~INPUTS["mount-wire"]


def test_a_coil_that_is_out_is_not_driven_and_the_eye_sees_the_lamp():
    one = bench()
    everything = 0b11111
    assert one.coil_is_driven(everything)
    one.do("coil out")
    one.do("clear")
    assert not one.coil_is_driven(everything)
    one.watch(everything)
    assert "coil" in one.do("see").split()


@given(st.text(max_size=30))
def test_any_words_are_done_or_refused(text):
    one = bench()
    try:
        told = one.do(text)
    except CampaignError as problem:
        told = str(problem)
    assert told
    assert 0 <= one.read(ALL) <= ALL


def test_words_come_through_a_port_and_nonsense_is_told():
    one = bench()
    with BenchPort(one) as port, BenchLine(port.port) as line:
        assert line.tell("open switch") == "nothing lit"
        assert one.read(ALL) == ALL & ~1
        with pytest.raises(CampaignError, match="`help` lists the words"):
            line.tell("sing")
        with pytest.raises(LinkError, match="cannot be served"):
            BenchPort(one, port.port)
    with pytest.raises(LinkError, match="no bench answers"):
        BenchLine(port.port)


def test_another_programs_port_is_told():
    other = socket.create_server(("127.0.0.1", 0))
    with other, BenchLine(other.getsockname()[1]) as line:
        connection = other.accept()[0]
        with connection:
            connection.sendall(b"HTTP/1.1 400\n")
            with pytest.raises(LinkError, match="another program"):
                line.tell("see")
