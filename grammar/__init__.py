"""The grammar `plica.lark` and the language reference that is tested against it."""
