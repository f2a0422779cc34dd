"""The conversation with a board, and its readings at rest."""
