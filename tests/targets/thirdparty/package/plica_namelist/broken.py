"""A target whose package lacks something."""

raise ImportError("a library of this studio is not installed here")
