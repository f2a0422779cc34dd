"""The wire format: bytes written by hand, and properties of the decoder."""

import binascii
import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import wire
from events import EventLog
from history import History
from sender import Sender
from tautlog.board.messages import parse


@pytest.mark.parametrize(
    ("bits", "reduction", "counts"),
    [(12, 1, 4096), (12, 8, 32768), (12, 16, 65536), (16, 1, 65536), (16, 8, 65536)],
)
def test_full_scale_of_a_sample(bits, reduction, counts):
    """By hand: 12 bits add up to 16, 16 bits leave no room for a sum."""
    assert wire.full_scale(bits, reduction) == counts


payloads = st.binary(max_size=60)
kinds = st.sampled_from([wire.ASK, wire.ACK, wire.BLOCK, wire.EVENT, wire.STATUS])


def bitwise_crc32(data):
    """CRC-32/ISO-HDLC bit by bit: poly 04C11DB7 reflected, init and xorout FFFFFFFF."""
    crc = 0xFFFFFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xEDB88320 if crc & 1 else 0)
    return crc ^ 0xFFFFFFFF


def decode(stream, pieces=()):
    decoder = wire.Decoder(200, 4096)
    frames = []
    start = 0
    for end in [*sorted(pieces), len(stream)]:
        decoder.feed(stream[start:end])
        start = end
        while decoder.next():
            frames.append((decoder.kind, decoder.sequence, bytes(decoder.payload())))
    return frames, decoder


def encode(payload_list):
    frames = [wire.frame(wire.EVENT, i, one) for i, one in enumerate(payload_list)]
    bounds = [0]
    for one in frames:
        bounds.append(bounds[-1] + len(one))
    return b"".join(frames), bounds


# Frames after the damage, so that a false header's length has something to run into.
FLUSH = b"".join(wire.frame(wire.STATUS, 900 + i, bytes(40)) for i in range(8))


def events(frames):
    return [sequence for kind, sequence, _ in frames if kind == wire.EVENT]


def test_check_value_of_the_crc_catalogue():
    # CRC-32/ISO-HDLC, catalogue check value for "123456789".
    assert binascii.crc32(b"123456789") == bitwise_crc32(b"123456789") == 0xCBF43926


def test_golden_frame_written_from_the_format_text():
    head = bytes.fromhex("d7a5020205000300")
    check = bitwise_crc32(head) & 0xFFFF
    body = head + bytes([check & 255, check >> 8]) + bytes.fromhex("0700000000")
    golden = body + bitwise_crc32(body).to_bytes(4, "little")
    assert wire.frame(wire.ACK, 3, wire.struct.pack(wire.ACK_BODY, 7, 0)) == golden
    frames, _ = decode(golden)
    assert frames == [(wire.ACK, 3, bytes.fromhex("0700000000"))]


def test_golden_block_packed_by_the_format_text():
    """Values 0xabc, 0x123, 4095, 0: low byte, nibbles of both, high byte."""
    body = bytes.fromhex("07000000 02000000 40420f00 0100 0300 0400 01 0c bc3a12 ff0f00")
    head = bytes.fromhex("d7a502121a000900")
    check = bitwise_crc32(head) & 0xFFFF
    whole = head + bytes([check & 255, check >> 8]) + body
    golden = whole + bitwise_crc32(whole).to_bytes(4, "little")
    ring = History(4, 4, wire.PACKED_BITS)
    values = struct.pack("<4H", 0xABC, 0x123, 4095, 0)
    wire.put_values(ring.frames[3], values, wire.PACKED_BITS)
    assert [wire.value_at(ring.frames[3], at, 12) for at in range(4)] == [0xABC, 0x123, 4095, 0]
    ring.head = ring.unsent = 7
    ring.oldest, ring.stamps_us[3], ring.flags[3], ring.lost[3] = 2, 1_000_000, 1, 3
    ring.head += 1
    sent = bytearray()
    sender = Sender(Wire(sent), ring, EventLog(), 4, 1)
    sender._sequence = 9
    sender.step(True)
    assert bytes(sent) == golden
    [(kind, _, payload)], _ = decode(golden)
    held = parse(kind, memoryview(payload), 4)
    assert (held.block.number, held.oldest, held.block.stamp_us) == (7, 2, 1_000_000)
    assert held.block.counts.tolist() == [[0xABC], [0x123], [4095], [0]]
    assert held.block.counts.dtype == np.uint16


class Wire:
    """A board's link that takes everything."""

    def __init__(self, sent):
        self.check = wire.Check()
        self._sent = sent

    def write(self, view, start, end):
        self._sent += view[start:end]
        return end - start


def block_payload(values, bits, channels=1):
    frame = bytearray(wire.block_frame_bytes(len(values), bits))
    wire.put_values(frame, np.asarray(values, "<u2").tobytes(), bits)
    count = len(values) // channels
    wire.struct.pack_into(
        wire.BLOCK_HEAD, frame, wire.HEADER_BYTES, *(5, 0, 0, 0, 0, count, channels, bits)
    )
    return bytes(frame[wire.HEADER_BYTES : -wire.TRAILER_BYTES])


@given(st.lists(st.integers(0, 4095), min_size=1, max_size=60), st.sampled_from([1, 2, 3]))
def test_packed_values_come_back(half, channels):
    values = half * 2 * channels
    held = parse(wire.BLOCK, memoryview(block_payload(values, 12, channels)), 64)
    assert held.block.counts.ravel().tolist() == values
    assert held.block.counts.shape == (len(values) // channels, channels)
    assert held.block.counts.flags.c_contiguous


@given(st.lists(st.integers(0, 4095), min_size=2, max_size=40), st.data())
def test_a_block_of_another_length_is_refused(values, data):
    """Cut or lengthened by any number of bytes, under a right CRC; or of no known packing."""
    values = values[: len(values) // 2 * 2]
    bits = data.draw(st.sampled_from([12, 16]))
    payload = block_payload(values, bits)
    cut = data.draw(st.integers(0, len(payload) - 1))
    more = data.draw(st.binary(min_size=1, max_size=50))
    other = data.draw(st.integers(0, 255).filter(lambda one: one not in (12, 16)))
    assert parse(wire.BLOCK, memoryview(payload), 64) is not None
    assert parse(wire.BLOCK, memoryview(payload[:cut]), 64) is None
    assert parse(wire.BLOCK, memoryview(payload + more), 64) is None
    wrong = bytearray(payload)
    wrong[wire.BLOCK_HEAD_BYTES - 1] = other
    assert parse(wire.BLOCK, memoryview(wrong), 64) is None
    wrong[wire.BLOCK_HEAD_BYTES - 1] = 28 - bits  # the other packing
    assert parse(wire.BLOCK, memoryview(wrong), 64) is None


def test_an_odd_number_of_packed_values_is_refused():
    """Three values would need 36 bits, which no number of bytes holds."""
    for count, extra in ((1, 1), (1, 2), (3, 4), (3, 5)):
        head = wire.struct.pack(wire.BLOCK_HEAD, 5, 0, 0, 0, 0, count, 1, 12)
        assert parse(wire.BLOCK, memoryview(head + bytes(extra)), 64) is None


@pytest.mark.parametrize(
    ("reduction", "converter_bits", "bits"),
    [(1, 12, 12), (2, 12, 16), (16, 12, 16), (1, 16, 16), (1, 10, 12), (4, 10, 12), (8, 10, 16)],
)
def test_values_are_packed_by_their_width(reduction, converter_bits, bits):
    assert wire.bits_for(reduction, converter_bits) == bits
    assert (((1 << converter_bits) - 1) * reduction < 4096) == (bits == 12)


def test_struct_sizes_are_those_of_the_text():
    assert wire.struct.calcsize(wire.HEADER) == wire.HEADER_BYTES == 10
    assert wire.struct.calcsize(wire.BLOCK_HEAD) == wire.BLOCK_HEAD_BYTES == 20
    assert wire.struct.calcsize(wire.EVENT_BODY) == wire.EVENT_BODY_BYTES == 20
    assert wire.struct.calcsize(wire.STATUS_BODY) == wire.STATUS_BODY_BYTES == 28


def test_a_payload_too_long_is_refused():
    with pytest.raises(ValueError, match="payload"):
        wire.frame(wire.BLOCK, 0, bytes(wire.MAX_PAYLOAD + 1))


@given(st.lists(payloads, max_size=5), st.data())
def test_any_split_gives_the_same_frames(payload_list, data):
    stream, _ = encode(payload_list)
    cuts = data.draw(st.lists(st.integers(0, len(stream)), max_size=8))
    assert decode(stream, cuts)[0] == decode(stream)[0]
    assert [one[2] for one in decode(stream)[0]] == payload_list


@given(st.binary(max_size=600), st.lists(st.integers(0, 600), max_size=6))
def test_any_bytes_are_counted_and_never_raise(stream, cuts):
    frames, decoder = decode(stream, [min(cut, len(stream)) for cut in cuts])
    taken = sum(len(one[2]) + wire.OVERHEAD_BYTES for one in frames)
    assert taken + decoder.skipped + decoder.pending() == len(stream)
    assert decoder.pending() <= 200 + wire.OVERHEAD_BYTES


@given(st.lists(payloads, min_size=1, max_size=5), st.data())
def test_one_flipped_bit_costs_exactly_its_frame(payload_list, data):
    stream, bounds = encode(payload_list)
    bit = data.draw(st.integers(0, 8 * len(stream) - 1))
    damaged = bytearray(stream)
    damaged[bit // 8] ^= 1 << bit % 8
    hit = next(i for i in range(len(payload_list)) if bounds[i + 1] > bit // 8)
    frames, _ = decode(bytes(damaged) + FLUSH)
    assert events(frames) == [i for i in range(len(payload_list)) if i != hit]


@given(st.lists(st.tuples(st.binary(max_size=40), payloads), min_size=1, max_size=5))
def test_junk_between_frames_costs_none(pairs):
    stream = b"".join(junk + wire.frame(wire.EVENT, i, one) for i, (junk, one) in enumerate(pairs))
    assert events(decode(stream + FLUSH)[0]) == list(range(len(pairs)))


@given(st.lists(payloads, min_size=1, max_size=5), st.data())
def test_lost_bytes_cost_only_the_frames_they_came_from(payload_list, data):
    stream, bounds = encode(payload_list)
    a = data.draw(st.integers(0, len(stream) - 1))
    b = data.draw(st.integers(a + 1, len(stream)))
    whole = [i for i in range(len(payload_list)) if bounds[i + 1] <= a or bounds[i] >= b]
    assert events(decode(stream[:a] + stream[b:] + FLUSH)[0]) == whole


@given(st.lists(payloads, max_size=4), st.binary(max_size=30))
def test_byte_by_byte_is_the_same(payload_list, junk):
    stream = junk + encode(payload_list)[0] + FLUSH
    decoder = wire.Decoder(200)
    frames = []
    for byte in stream:
        decoder.feed_byte(byte)
        while decoder.next():
            frames.append((decoder.kind, decoder.sequence, bytes(decoder.payload())))
    assert frames == decode(stream)[0]


@given(st.integers(0, (1 << 30) - 1), st.integers(0, (1 << 29) - 1))
def test_stamps_wrap(then_us, span_us):
    now_us = (then_us + span_us) % wire.TICKS_PERIOD_US
    assert wire.ticks_elapsed_us(now_us, then_us) == span_us
