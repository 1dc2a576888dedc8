"""Joints and their rest frames, in plain Python: checking a spec must not wait for numpy."""
