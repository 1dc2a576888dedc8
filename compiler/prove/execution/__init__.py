"""Measuring the skin in units of work: in this process, in others on this machine, or on a cluster."""
