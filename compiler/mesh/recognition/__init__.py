"""What a file that came back from sculpting is: its unit, axes, place, order of vertices and pose, told by the vertices
that nobody touched."""
