"""The nouns: what travels between the wings, each a frozen object without files or hardware."""
