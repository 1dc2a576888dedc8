"""Text to Document: the lossless syntax tree with a place for every node, and several errors per run."""
