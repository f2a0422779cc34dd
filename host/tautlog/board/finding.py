"""Finding: a fault of the instrument before a drop, or a fact that cannot be known."""

from __future__ import annotations

from dataclasses import dataclass

# Fractions of the span between the limits. The zero balance of a bridge is commonly within 1 to
# 2 % of its rated output (from memory, data sheets of cells); twice that, for drift and for the
# parts that hang from the cell. An open bridge or a hanging sled is farther off on most rigs.
ZERO_REFUSED = 0.05
ZERO_DOUBTED = 0.02
# Rms of one conversion, in steps. Quantisation alone is 0.29 (Bennett, Bell System Tech. J.
# 27 (1948) 446); a Pico's own converter, on a quiet source, 0.97 at least (a published
# characterisation, pico-adc.markomo.me). Below this, no converter is working on a live
# signal.
LEAST_NOISE_STEPS = 0.8


@dataclass(frozen=True)
class ReadinessFinding:
    """A fault, or a fact that cannot be known.

    Attributes
    ----------
    code : str
        Short name, for programs.
    refuses : bool
        It forbids the drop; otherwise it is a doubt, shown and kept in the record.
    seen, expected, mend : str
        What was seen, what was expected and how to mend it.
    """

    code: str
    refuses: bool
    seen: str
    expected: str
    mend: str

    @property
    def text(self) -> str:
        """The finding in one line."""
        return f"{self.seen}, {self.expected}: {self.mend}"
