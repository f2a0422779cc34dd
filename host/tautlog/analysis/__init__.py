"""From a trace to marks and a verdict: arrays in, frozen objects out."""
