"""First sculpts that the skin itself computes: how it settles in a pose, its volume kept, nothing crossing."""
