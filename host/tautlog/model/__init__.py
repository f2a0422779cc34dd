"""The nouns: frozen objects that travel between the wings, without files or hardware."""
