"""A character's sheet that follows its files, served to browsers on this machine."""
