"""A mutation run: faults put into the code by rule, and whether the tests notice them.

`python -m tests.mutation --sample 300` samples mutants of the modules that decide what a spec means, runs for each the
tests that execute its line, and reports those that no test noticed. What cannot be noticed, because the mutant computes
the same, is listed with its reason in `equivalent.toml`.
"""
