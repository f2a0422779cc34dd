"""Finding: a fault of the instrument before a drop, or a fact that cannot be known."""

from __future__ import annotations

from dataclasses import dataclass


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
