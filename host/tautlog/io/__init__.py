"""Import of foreign traces, and export of records."""
