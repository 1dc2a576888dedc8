"""Editors: the language server, and the words of the language for those that colour text."""
