"""The conversation with a board, and what its signal says while nothing happens."""
