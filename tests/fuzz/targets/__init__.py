"""All fuzz targets by name."""

from __future__ import annotations

from tests.fuzz.targets import arrays, commands, documents, editor, kept, models, motion, texts

TARGETS = {
    target.name: target
    for module in (texts, models, motion, arrays, documents, kept, editor, commands)
    for target in module.TARGETS
}
