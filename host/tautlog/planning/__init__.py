"""What a drop will do, what the drops so far have taught, and why one must not be done."""
