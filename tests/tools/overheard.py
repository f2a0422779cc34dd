"""A line between laptop and board that keeps what was said, and what was acknowledged."""

from __future__ import annotations

import contextlib
import json
import socket
import struct
import threading

import numpy as np

from tautlog.board.messages import HeldBlock, parse
from tautlog.firmware import wire

GRANT = b'"token"'  # of the answer of a board that has armed


class Overheard:
    """A relay to a board at a TCP port; a context manager.

    Parameters
    ----------
    url : str
        The board's, ``socket://host:port``.

    Attributes
    ----------
    url : str
        The same board, through this line.
    """

    def __init__(self, url):
        host, _, port = url.removeprefix("socket://").rpartition(":")
        self._board = host, int(port)
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.url = f"socket://127.0.0.1:{self._listener.getsockname()[1]}"
        self._said = []  # of each call: what the laptop and what the board said
        self._ends = []
        self._granted = threading.Event()
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self):
        while True:
            try:
                laptop = self._listener.accept()[0]
            except OSError:
                return
            try:
                board = socket.create_connection(self._board)
            except OSError:
                laptop.close()
                continue
            said = bytearray(), bytearray()
            self._said.append(said)
            for one in (laptop, board):
                one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._ends += [laptop, board]
            pairs = (laptop, board, said[0]), (board, laptop, said[1])
            for pair in pairs:
                threading.Thread(target=self._relay, args=pair, daemon=True).start()

    def _relay(self, source, sink, kept):
        try:
            while data := source.recv(1 << 16):
                kept += data
                if GRANT in kept[-len(data) - len(GRANT) :]:
                    self._granted.set()
                sink.sendall(data)
        except OSError:
            pass
        for end in (source, sink):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    @property
    def armed(self):
        """Whether the board has said that it is armed."""
        return self._granted.is_set()

    def acknowledged(self, call=0):
        """First block that a call asked for, and the one before which all is said to be on disk.

        Both None where nothing was armed in it.
        """
        if call >= len(self._said):
            return None, None
        laptop, board = self._said[call]
        at = board.find(GRANT)
        if at < 0:
            return None, None
        granted = board[board.rfind(b"{", 0, at) : board.find(b"}", at) + 1]
        acked = first = json.loads(granted)["first"]
        asked = False
        for kind, body in frames(bytes(laptop)):
            asked |= kind == wire.ASK and b'"arm"' in body
            if kind == wire.ACK and asked:  # what was said before was of readings
                acked = max(acked, struct.unpack(wire.ACK_BODY, body)[0])
        return first, acked

    def blocks(self):
        """Samples of all blocks that the board sent, by number."""
        found = {}
        for _, board in self._said:
            for kind, body in frames(bytes(board)):
                held = parse(kind, memoryview(body), 1) if kind == wire.BLOCK else None
                if isinstance(held, HeldBlock):
                    found[held.block.number] = np.array(held.block.counts)
        return found

    def close(self):
        """Hang up."""
        self._listener.close()
        for end in self._ends:
            end.close()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()


def frames(data):
    """Kind and payload of each frame in some bytes."""
    decoder, at = wire.Decoder(wire.MAX_PAYLOAD, 1 << 17), 0
    while at < len(data):
        piece = data[at : at + decoder.room()]
        decoder.feed(piece)
        at += len(piece)
        while decoder.next():
            yield decoder.kind, bytes(decoder.payload())
