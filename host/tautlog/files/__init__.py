"""Files of a campaign's folder: new ones, lines that are only added, strict JSON."""
