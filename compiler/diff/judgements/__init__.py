"""How changes are judged: a module for the fields that belong together, found by loading this package.

Each module lists its `JUDGEMENTS` of fields and its `TABLES` (`plica.diff.judgement`).
"""
