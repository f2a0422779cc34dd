"""Pictures: what matplotlib draws on paper, and puts into windows."""
