"""Inputs written from nothing by hypothesis: mostly of the right form, now and then odd where it matters."""
