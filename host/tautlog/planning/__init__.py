"""What a drop will do, what earlier drops have taught, and why a drop must not be done."""
