"""Marks as JSON: figures, verdicts and uncertainty budgets."""

from __future__ import annotations

import math
from dataclasses import asdict, fields

from tautlog.model.marks import Marks
from tautlog.model.uncertainty import Budget
from tautlog.model.verdict import Verdict

_LEFT_OUT = ("findings", "budgets", "curve")
_VERDICTS = ("record_verdict", "load_verdict", "trace_says", "article", "test_verdict")


def as_json(marks: Marks, verdict: Verdict, record_name: str) -> dict[str, object]:
    """Marks and verdicts as one flat JSON object; NaN and infinity become None."""
    figures = {
        field.name: _plain(getattr(marks, field.name))
        for field in fields(marks)
        if field.name not in _LEFT_OUT
    }
    verdicts = {name: getattr(verdict, name) for name in _VERDICTS}
    reasons = [asdict(reason) for reason in verdict.reasons]
    return {"record": record_name, **figures, **verdicts, "reasons": reasons}


def _plain(value: object) -> object:
    if isinstance(value, tuple):
        return [asdict(item) for item in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def budgets_as_json(marks: Marks) -> list[dict[str, object]]:
    """Budgets as JSON: for each figure its parts, k and the expanded uncertainty."""
    return [_budget(budget) for budget in marks.budgets]


def _budget(budget: Budget) -> dict[str, object]:
    return {
        "figure": budget.figure,
        "unit": budget.unit,
        "value": budget.value,
        "combined_u": budget.combined_u,
        "degrees_of_freedom": _plain(budget.freedom),
        "coverage_factor": budget.coverage_factor,
        "expanded_u": budget.expanded_u,
        "parts": [
            {
                "name": part.name,
                "u": part.u,
                "kind": part.kind,
                "degrees_of_freedom": _plain(part.freedom),
                "basis": part.basis,
            }
            for part in budget.parts
        ],
    }
