"""Reusable limbs: specs with parameters."""
