"""Records of a folder: assessed, listed, verified, marked again."""
