"""Server: listens for the crew on this computer, and for watchers where it is told to.

The server runs in a thread of its own. The main thread stays free: a drop will be conducted there,
where Ctrl-C reaches it as it reaches `tautlog drop`, whether or not a page is open.
"""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import socket
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field

import uvicorn

from tautlog.desk.admission import Admission, Role
from tautlog.desk.app import pages_of
from tautlog.desk.desk import Desk
from tautlog.desk.guard import ENTRANCE, Guard, Place
from tautlog.errors import LinkError

LOOPBACK = "127.0.0.1"
NAMES = ("127.0.0.1", "localhost")
MOST_CONNECTIONS = 200
KEEP_ALIVE_S = 20
HEAD_BYTES = 32_768
STARTING_S = 10.0


@dataclass(frozen=True)
class Entrance:
    """One address at which a desk listens.

    Attributes
    ----------
    link : str
        The link with its secret.
    admission, place : Admission, Place
        Who may come by it; under which names it answers.
    listening : socket
        The open socket.
    """

    link: str
    admission: Admission
    place: Place
    listening: socket.socket


@dataclass
class Serving:
    """A running server; its entrances."""

    entrances: list[Entrance]
    _servers: list[uvicorn.Server] = field(default_factory=list)


def crew_entrance(port: int) -> Entrance:
    """Listen on this computer alone.

    Raises
    ------
    LinkError
        If the port is taken.
    """
    return _entrance(Role.CREW, LOOPBACK, port, NAMES)


def watchers_entrance(address: str, port: int) -> Entrance:
    """Listen on one address of this computer, for those who only look.

    Raises
    ------
    LinkError
        If it is not one address of this computer, or the port is taken.
    """
    try:
        given = ipaddress.ip_address(address)
    except ValueError as problem:
        raise LinkError(
            f"{address!r} is not an address: give one of this computer in figures, such as "
            "192.168.4.1"
        ) from problem
    if given.is_unspecified or given.is_multicast:
        raise LinkError(
            f"{address} is every network at once: name the one address on which watchers may come"
        )
    return _entrance(Role.WATCHER, str(given), port, (str(given),))


def _entrance(role: Role, address: str, port: int, names: tuple[str, ...]) -> Entrance:
    listening = _listen(address, port)
    port = listening.getsockname()[1]
    written = [f"[{name}]" if ":" in name else name for name in names]
    hosts = {f"{name}:{port}" for name in written} | (set(written) if port == 80 else set())
    admission = Admission(role, port)
    link = f"http://{written[0]}:{port}{ENTRANCE}?key={admission.secret}"
    return Entrance(link, admission, Place(frozenset(hosts)), listening)


def _listen(address: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    made = socket.socket(family, socket.SOCK_STREAM)
    try:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind((address, port))
        made.listen(128)
    except OSError as problem:
        made.close()
        raise LinkError(
            f"{address} port {port} cannot be listened on ({problem.strerror}): give an "
            "address of this computer, and a free port (--port-number, --watch-port)"
        ) from problem
    return made


@contextlib.contextmanager
def serving(desk: Desk, entrances: list[Entrance]) -> Iterator[Serving]:
    """Serve the pages from a thread of its own while inside.

    Raises
    ------
    LinkError
        If the server does not start.
    """
    app = pages_of(desk)
    servers = [_server(Guard(app, one.admission, one.place)) for one in entrances]
    sockets = [one.listening for one in entrances]
    thread = threading.Thread(target=_run, args=(servers, sockets), name="desk", daemon=True)
    thread.start()
    try:
        _wait_until(servers, thread)
        yield Serving(entrances, servers)
    finally:
        desk.feed.close()
        for server in servers:
            server.should_exit = True
        thread.join(STARTING_S)
        for one in sockets:
            one.close()


def _server(guard: Guard) -> uvicorn.Server:
    return uvicorn.Server(
        uvicorn.Config(
            guard,
            http="h11",
            ws="none",
            loop="asyncio",
            lifespan="off",
            log_config=None,
            log_level="critical",  # what went wrong is said on the page, in one line
            access_log=False,
            server_header=False,
            proxy_headers=False,  # nobody else says from where a request comes
            limit_concurrency=MOST_CONNECTIONS,
            timeout_keep_alive=KEEP_ALIVE_S,
            h11_max_incomplete_event_size=HEAD_BYTES,
            timeout_graceful_shutdown=1,
        )
    )


def _run(servers: list[uvicorn.Server], sockets: list[socket.socket]) -> None:
    async def all_of() -> None:
        await asyncio.gather(
            *(server.serve([one]) for server, one in zip(servers, sockets, strict=True))
        )

    asyncio.run(all_of())


def _wait_until(servers: list[uvicorn.Server], thread: threading.Thread) -> None:
    ticks = threading.Event()
    for _ in range(int(STARTING_S / 0.01)):
        if all(server.started for server in servers):
            return
        if not thread.is_alive():
            break
        ticks.wait(0.01)
    raise LinkError("the desk's server did not start")
