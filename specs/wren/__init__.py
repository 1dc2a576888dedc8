"""The demo character Wren, the otter who runs the river post: what computes its files, and the files in `data/`.

`python -m plica.specs.wren` makes `data/` anew: the skinned model, a clip of his rounds, sculpted shapes, painted masks
and normal maps. The files are the same on every machine (`plica.specs.wren.steps` says why) and are shipped with
the package, so nothing else in Plica imports from here.
"""
