"""The demo character's spec and the library of reusable limbs."""
