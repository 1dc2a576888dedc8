"""The way of a sculpt: the posed mesh that an artist is handed, and what comes back, recognised and taken in."""
