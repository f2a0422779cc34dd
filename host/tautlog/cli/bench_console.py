"""Bench console: hands at a served rig, by words typed into its own terminal."""

from __future__ import annotations

import os
import queue
import sys
import threading

from tautlog.cli.output import tell
from tautlog.errors import CampaignError
from tautlog.rehearsal.bench import HELP, Bench

MOST_LINE = 200


class BenchConsole:
    """Lines that somebody types, read by a thread of its own so that Ctrl-C is heard meanwhile.

    Parameters
    ----------
    bench : Bench
        What they are said to.
    """

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        if sys.stdin is not None and sys.stdin.isatty():
            tell("say here what hands do at the rig: `help` lists the words")
            threading.Thread(target=self._read, args=(sys.stdin.fileno(),), daemon=True).start()

    def _read(self, descriptor: int) -> None:
        # Not through sys.stdin: a thread that waits in it would hold its lock as Python ends.
        text = b""
        while part := _part(descriptor):
            *lines, text = (text + part).split(b"\n")
            for line in lines:
                self._lines.put(line[:MOST_LINE].decode(errors="replace").strip())

    def obey(self, wait_s: float) -> None:
        """Do what was typed, and answer; wait for a line no longer than that."""
        try:
            line = self._lines.get(timeout=wait_s)
        except queue.Empty:
            return
        if line:
            tell(answer(self._bench, line))


def answer(bench: Bench, line: str) -> str:
    """What a bench answers to a line, for a person."""
    if line == "help":
        widest = max(len(word) for word, _ in HELP)
        return "\n".join(f"  {word:{widest}}  {meaning}" for word, meaning in HELP)
    try:
        told = bench.do(line)
    except CampaignError as problem:
        return f"  NOT DONE: {problem}"
    if line.split()[0] in ("see", "clear"):
        return f"  seen: {told}"
    return "  " + bench.where.replace("; ", "\n  ")


def _part(descriptor: int) -> bytes:
    try:
        return os.read(descriptor, 1024)
    except OSError:  # the terminal is gone
        return b""
