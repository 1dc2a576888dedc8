"""Spec to Rig: sides, families and mirrored axes resolved into pure data."""
