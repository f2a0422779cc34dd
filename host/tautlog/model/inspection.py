"""Inspection: what an inspection of the article may find after a drop."""

from __future__ import annotations

WHOLE = ("intact", "deformed-within")  # after these it may be dropped again
GAVE_WAY = ("deformed-beyond", "parted", "slipped")
NOT_INSPECTED = "not-inspected"
ARTICLE_FINDINGS = (*WHOLE, *GAVE_WAY, NOT_INSPECTED)
