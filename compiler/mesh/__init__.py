"""The real mesh: its arrays, its symmetry, regions on it, sculpts taken off their pose, and its deformation."""
