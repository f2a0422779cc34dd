"""Traces that come from elsewhere, and records that go elsewhere."""
