"""A repository of characters: its `plica.toml`, the files that it means, and work on all of them at once."""
