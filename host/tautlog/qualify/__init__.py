"""From the drops of single articles to a statement about the part."""
