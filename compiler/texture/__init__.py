"""Folds as textures: masks rasterised in texture space, made as small as they may be, packed and weighed."""
