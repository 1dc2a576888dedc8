"""Measures on the moving skin: each is prepared once for a mesh and a region and then read off blocks of frames."""
