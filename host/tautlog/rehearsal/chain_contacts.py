"""Contacts of the release chain that a rehearsed board reads back, and what moves them."""

from __future__ import annotations

from tautlog.model.readbacks import bits_of
from tautlog.rehearsal.scene import Scene


class ChainContacts:
    """The second contacts of stop, gate, pin and their like, as the rig has them.

    Parameters
    ----------
    scene : Scene
        Says which there are, which are open from the start, and when the gate opens.
    sample_rate_hz : float
        Samples per second, in which time is counted.
    """

    def __init__(self, scene: Scene, sample_rate_hz: float) -> None:
        self._behaviour = scene.behaviour
        self._sample_rate_hz = sample_rate_hz
        self._places = bits_of(one.name for one in scene.readbacks)
        opened = scene.behaviour.open_readbacks
        self._closed = {name: name not in opened for name in self._places}

    def move(self, name: str, *, closed: bool) -> None:
        """Open or close a contact, from the next step on; any thread may call it.

        Raises
        ------
        KeyError
            If the scene has no such contact.
        """
        if name not in self._places:
            raise KeyError(name)
        self._closed[name] = closed

    def bits(self, end: int, lamp_since: float | None, release_at: float | None) -> int:
        """Bits of the contacts that are closed at the end of a step.

        Parameters
        ----------
        end : int
            Sample at which the step ends.
        lamp_since, release_at : float or None
            Sample at which the lamp came on and the sled was let go; None if not yet.
        """
        for since, after_s in (
            (lamp_since, self._behaviour.gate_opens_armed_s),
            (release_at, self._behaviour.gate_opens_released_s),
        ):
            if since is None or after_s is None:
                continue
            if end >= since + after_s * self._sample_rate_hz:
                self._closed["gate"] = False
        return sum(bit for name, bit in self._places.items() if self._closed[name])
