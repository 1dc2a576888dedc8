"""Output forms, one folder each."""
