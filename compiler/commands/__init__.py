"""The command line: a thin face of the stages; the only part of Plica that prints and exits."""
