"""The cache of figures: what was measured once for the same content is not measured again."""
