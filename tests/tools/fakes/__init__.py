"""Stand-ins that behave worse than the hardware they stand for."""
