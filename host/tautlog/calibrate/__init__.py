"""From known loads and readings to a calibration that can be trusted."""
