"""Procedure: a campaign's test procedure on paper, with places for readings and signatures."""
