"""Reading what artists hand in: models (glTF 2.0, OpenUSD) and clips (glTF 2.0, BVH).

`plica.readers.model_reader.read_outline` answers what a check needs to know about a model and loads nothing heavy
for glTF; the modules on arrays and clips need numpy and are imported where the work asks for them.
"""
