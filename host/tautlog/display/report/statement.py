"""Statement: what a report says of the part, beyond its single drops."""

from __future__ import annotations

from tautlog.display.report.contents import StatementText
from tautlog.display.report.instruments import NOT_STATED
from tautlog.qualify.statement import CAUTION, Statement


def statement_text(said: Statement | None) -> StatementText | None:
    """A statement ready to read; None if none is asked for."""
    if said is None:
        return None
    return StatementText(
        word=said.word,
        text=said.text,
        why_not=said.why_not,
        shown=said.shown,
        method=said.claim.method,
        outcomes=tuple((one.article, one.result, one.why, str(one.drops)) for one in said.outcomes),
        assumptions=said.assumptions,
        caution=CAUTION,
        decides=said.decides or NOT_STATED,
    )
