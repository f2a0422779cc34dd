"""A 16-bit converter on three wires, bit by bit, on an emulated RP2040.

One board for all tests: 100 kS/s, two conversions a sample, a converter that takes 2 us.
"""

import json

import pytest
from fakes.crew import SilentCrew

from emulated.bench import EmulatedBoard, board_files, march_of
from emulated.test_board import BEGIN, EDGES
from emulated.three_wire import STRIDE
from tautlog.archive.assess import assess
from tautlog.archive.kept_marks import as_json as told_of
from tautlog.board.link import SerialLink
from tautlog.board.session import Session
from tautlog.drop.granting import permitted
from tautlog.drop.run import DropPlan, run_drop
from tautlog.record import open_record
from tautlog.rehearsal.scene import default_scene, with_sixteen_bits

pytestmark = pytest.mark.timeout(900)
SIXTEEN = {
    "CONVERTER_BITS": 16,
    "CONVERSION_RATE_HZ": 100_000,
    "REDUCTION": 2,
    "SAMPLES_PER_BLOCK": 512,
    "LEAST_SPAN": 8,
    "WATCHDOG_MS": 0,
}
CONVERSION_NS = 2000


@pytest.fixture(scope="module")
def board(image, tmp_path_factory):
    if march_of(image) != "armv6m":
        pytest.skip("the model of the three wires is one of the emulated RP2040")
    files = board_files(tmp_path_factory.mktemp("board"), **SIXTEEN)
    (files / "main.py").rename(files / "entry.py")
    with EmulatedBoard(image, files, "ramp", "--three-wire", str(CONVERSION_NS)) as one:
        one.run(BEGIN)
        yield one


def told(board, **change):
    """What the converter has seen, after a change."""
    after = len(board.lines)
    board.tell(converter=change)
    return board.wait(lambda line: "hurried" in line, after=after)


# Whole blocks from now on, and by how much each sample is off what it must be.
COUNTED = """
first = h.head + 1
while h.head < first + %d:
    time.sleep_ms(1)
R, P = config.REDUCTION, config.SAMPLES_PER_BLOCK
bad = checked = lost = flags = 0
for k in range(first, first + %d):
    at = board.wire.SAMPLES_AT
    x = array('H', bytes(h.frames[k %% h.slots][at:at + 2 * P]))
    lost += h.lost[k %% h.slots]
    flags |= h.flags[k %% h.slots]
    for s in range(0, P, 7):
        e = 0
        for r in range(R):
            e += ((k * P + s) * R + r) * %d & 0xFFFF
        checked += 1
        bad += x[s] != (e + R // 2) // R
print(checked, bad, lost, flags, b._sampler.faults)
"""


def counted(board, blocks):
    said = board.run(COUNTED % (blocks, blocks, STRIDE))
    return [int(word) for word in said.split()]


def test_every_bit_of_every_conversion_arrives(board):
    """Conversion n is n x STRIDE; a sample is the rounded mean of two."""
    checked, *wrong = counted(board, 4)
    assert checked > 250
    assert wrong == [0, 0, 0, 0]
    seen = told(board)
    assert seen["conversions"] > 4000
    assert (seen["hurried"], seen["cut_short"]) == (0, 0)


def test_a_reading_before_the_conversion_is_over_is_seen_as_wrong(board):
    """The part takes longer than CONVERSION_TIME_NS says: the bits come one clock late."""
    told(board, conversion_ns=2900)
    checked, bad, *_ = counted(board, 1)
    assert bad > 0.95 * checked
    told(board)
    assert counted(board, 1)[1] == 0


@pytest.mark.parametrize(("stuck", "word"), [(0, 0), (1, 0xFFFF)])
def test_a_data_wire_that_is_stuck_reads_a_limit(board, stuck, word):
    told(board, stuck=stuck)
    said = board.run(
        "first = h.head + 2\nwhile h.head < first: time.sleep_ms(1)\n"
        "print(h.lows[(h.head - 1) % h.slots], h.highs[(h.head - 1) % h.slots])"
    )
    told(board)
    assert [int(one) for one in said.split()] == [word, word]


# DMA takes nothing for a while, as if the bus were not free.
HELD_UP = """
d = b._sampler._data
first = h.head
while h.head == first:
    pass
d.ctrl = d.pack_ctrl(default=d.ctrl, enable=False)
time.sleep_us(400)
d.ctrl = d.pack_ctrl(default=d.ctrl, enable=True)
while h.head < first + 4:
    pass
print([(h.flags[k % h.slots], h.lost[k % h.slots]) for k in range(first, first + 4)])
"""


def test_conversions_that_find_no_room_are_counted_and_told(board):
    """The conversions go on evenly, those that the FIFO has no room for are lost, and known."""
    before = told(board)
    said = json.loads(board.run(HELD_UP).replace("(", "[").replace(")", "]"))
    after = told(board)
    assert [flags & 1 for flags, _ in said] == [0, 1, 0, 0]
    lost = said[1][1]
    # 400 us are 40 conversions; the FIFO and its neighbours hold up to 9 of them.
    assert 40 - 9 - 3 <= lost <= 40 + 3
    assert [one for _, one in said if one] == [lost]
    assert after["hurried"] == before["hurried"]
    assert after["cut_short"] == before["cut_short"]


def test_edges_are_placed_to_the_sample(board):
    """60 edges at random: within two samples of 20 us."""
    per_block, reduction = SIXTEEN["SAMPLES_PER_BLOCK"], SIXTEEN["REDUCTION"]
    lost = int(board.run("while b.next_edge(): pass\nprint(h.lost_total)"))
    board.tell(shake=10, edges=60)
    said = board.run(EDGES.replace("b.close()", "") % 60)
    places = json.loads(said.split("shaking")[1].strip().replace("(", "[").replace(")", "]"))
    true = [one for one in board.lines if "conversion" in one]
    assert len(places) == len(true) == 60
    errors = [
        block * per_block + offset - (one["conversion"] - lost) / reduction
        for (_, _, block, offset), one in zip(places, true, strict=True)
    ]
    assert max(abs(error) for error in errors) <= 2.0


@pytest.mark.long
@pytest.mark.parametrize(
    ("rate_hz", "reduction", "took_ns"), [(250_000, 8, 2200), (500_000, 1, 800)]
)
def test_other_rates(emulated, rate_hz, reduction, took_ns):
    """Means of eight at 250 kS/s; 500 kS/s unreduced, from a part that takes 0.8 us (1 min)."""
    changes = {"CONVERSION_RATE_HZ": rate_hz, "REDUCTION": reduction, "SAMPLES_PER_BLOCK": 1024}
    board = emulated(
        *("ramp", "--three-wire", str(took_ns)),
        entry=False,
        **{**SIXTEEN, **changes, "CONVERSION_TIME_NS": took_ns},
    )
    board.run(BEGIN)
    checked, *wrong = counted(board, 3)
    assert checked > 400
    assert wrong == [0, 0, 0, 0]
    seen = told(board)
    assert (seen["hurried"], seen["cut_short"]) == (0, 0)


@pytest.mark.long
@pytest.mark.timeout(3000)
def test_a_whole_drop_with_16_bits(emulated, tmp_path):
    """From the board's greeting to a verdict; the true peak is 1890 N (10 min)."""
    board = emulated(
        *("rig", "--three-wire", str(CONVERSION_NS)),
        **{**SIXTEEN, "REDUCTION": 8, "WATCHDOG_MS": 3000},
    )
    scene = with_sixteen_bits(default_scene())
    plan = DropPlan(
        path=tmp_path / "drop.h5",
        permit=permitted(None, scene.setup, calibration=scene.calibration, say=lambda text: None),
        countdown_s=0.0,
        record_s=1.5,
    )
    with SerialLink(board.port) as link:
        run_drop(Session(link, timeout_scale=200.0), plan, SilentCrew())
    record = open_record(plan.path)
    assert (record.instrument.converter_bits, record.instrument.sample_rate_hz) == (16, 12500.0)
    marks = told_of(assess(record, cfc=180))
    assert marks["missing_samples"] == 0
    assert marks["peak_force_n"] == pytest.approx(1890.0, rel=2e-3)
    assert marks["fall_time_s"] == pytest.approx(0.5049, abs=1e-3)
    seen = told(board)
    assert (seen["hurried"], seen["cut_short"]) == (0, 0)
