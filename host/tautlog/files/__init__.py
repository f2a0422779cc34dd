"""Files of a campaign's folder: new files, append-only lines, strict JSON."""
