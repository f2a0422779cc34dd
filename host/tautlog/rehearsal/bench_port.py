"""Bench port: a TCP port through which a second person opens and shorts a rehearsed rig's wires.

A line of the bench's words comes in, one line goes back: ``ok: `` and what is lit, or ``no: `` and
why not. Any program that sends lines will do, such as ``nc 127.0.0.1 7001``.
"""

from __future__ import annotations

import contextlib
import socket
import socketserver
import threading
import types
from typing import Self

from tautlog.errors import CampaignError, LinkError
from tautlog.rehearsal.bench import Bench

MOST_LINE = 200
PATIENCE_S = 5.0
OK, NO = "ok: ", "no: "


class BenchPort:
    """Serves the bench of one rig on the loopback; a context manager.

    Parameters
    ----------
    bench : Bench
        What is served.
    port : int
        0 for any that is free.

    Attributes
    ----------
    port : int
        Where it answers.

    Raises
    ------
    LinkError
        If the port is taken.
    """

    def __init__(self, bench: Bench, port: int = 0) -> None:
        class Lines(socketserver.StreamRequestHandler):
            """One connection."""

            def handle(self) -> None:
                """Obey one line after another."""
                while line := self.rfile.readline(MOST_LINE):
                    text = line.decode(errors="replace").strip()
                    try:
                        answer = OK + bench.do(text)
                    except CampaignError as problem:
                        answer = NO + str(problem)
                    with contextlib.suppress(OSError):
                        self.wfile.write((answer + "\n").encode())

        try:
            self._server = socketserver.ThreadingTCPServer(("127.0.0.1", port), Lines)
        except OSError as problem:
            raise LinkError(f"port {port} cannot be served: {problem.strerror}") from problem
        self._server.daemon_threads = True
        self.port = int(self._server.server_address[1])
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)
        self._thread.start()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: types.TracebackType | None,
    ) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join(timeout=PATIENCE_S)


class BenchLine:
    """The other end: tells a served bench what to do; a context manager.

    Parameters
    ----------
    port : int
        Of a `BenchPort` on this computer.

    Raises
    ------
    LinkError
        If nothing answers there.
    """

    def __init__(self, port: int) -> None:
        try:
            self._socket = socket.create_connection(("127.0.0.1", port), PATIENCE_S)
        except OSError as problem:
            raise LinkError(
                f"no bench answers at port {port} ({problem.strerror or problem}): start one with "
                "`tautlog rehearse --serve PORT --bench PORT`"
            ) from problem
        self._file = self._socket.makefile("rw", encoding="utf-8", newline="\n")

    def tell(self, text: str) -> str:
        """Do what a line says; what is lit.

        Raises
        ------
        CampaignError
            If the bench does not know the words.
        LinkError
            If it does not answer.
        """
        try:
            self._file.write(" ".join(text.split()) + "\n")
            self._file.flush()
            answer = self._file.readline().strip()
        except OSError as problem:
            raise LinkError(f"the bench is gone: {problem.strerror or problem}") from problem
        if answer.startswith(NO):
            raise CampaignError(answer.removeprefix(NO))
        if not answer.startswith(OK):
            raise LinkError(f"the bench answers {answer[:60]!r}: is this another program's port?")
        return answer.removeprefix(OK)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: types.TracebackType | None,
    ) -> None:
        with contextlib.suppress(OSError):
            self._file.close()
        self._socket.close()
