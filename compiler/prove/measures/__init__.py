"""How the kinds of expectation are measured: each module lists its measures as `MEASURES`."""
