"""Wire states: what is wrong with each wire of a rehearsed rig, and what a hand did to it."""

from __future__ import annotations

from collections.abc import Collection

OPEN, SHORT, MENDED, STUCK = "open", "short", "mended", "stuck"
EXCHANGED = "exchanged"


class WireStates:
    """The states of some wires.

    Parameters
    ----------
    known : collection of str
        Names of the wires; those of contacts of the coil's chain begin with "contact ".

    Attributes
    ----------
    hand, fault : dict of str to str
        State by wire: as a hand left it, and what was wrong before.
    exchanged : set of str
        Wires that took another's place.
    """

    def __init__(self, known: Collection[str]) -> None:
        self._known = frozenset(known)
        self.hand: dict[str, str] = {}
        self.fault: dict[str, str] = {}
        self.exchanged: set[str] = set()

    def touch(self, word: str, name: str) -> None:
        """A hand opens, shorts or mends a wire."""
        self._set(self.hand, {"mend": MENDED}.get(word, word), name)

    def spoil(self, word: str, name: str) -> None:
        """A wire is open, short, stuck or exchanged before a hand touches it, or no more.

        Raises
        ------
        KeyError, ValueError
            If there is no such wire, or no such state.
        """
        if word == EXCHANGED:
            self._require(name)
            self.exchanged.add(name)
            return
        self._set(self.fault, word, name)

    def make_whole(self) -> None:
        """Nothing is wrong any more; what a hand did stays."""
        self.fault.clear()
        self.exchanged.clear()

    def _set(self, states: dict[str, str], word: str, name: str) -> None:
        self._require(name)
        if word not in (OPEN, SHORT, MENDED, STUCK):
            raise ValueError(word)
        states[name] = word

    def _require(self, name: str) -> None:
        if name not in self._known and not name.startswith("contact "):
            raise KeyError(name)

    def is_so(self, name: str, state: str) -> bool:
        """Whether a wire is in a state, by hand or by fault."""
        return state in (self.fault.get(name), self.hand.get(name))

    def passes(self, name: str) -> bool:
        """Whether a wire carries what it should."""
        return not (self.is_so(name, OPEN) or self.is_so(name, SHORT))

    @property
    def text(self) -> str:
        """Every wire that is not as it must be."""
        told = [f"{state} {name}" for name, state in self.hand.items() if state != MENDED]
        told += [f"fault {state} {name}" for name, state in self.fault.items() if state != MENDED]
        told += [f"fault {EXCHANGED} {name}" for name in sorted(self.exchanged)]
        return ", ".join(told) or "as they must be"
