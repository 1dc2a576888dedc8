"""The functions behind `import plica` and the records that they give; `compiler/README.md` teaches them.

The functions and the two types that are handed in are names of `plica` itself. The records that come out stand here,
for annotations: `plica.api.proving.ProofReport` and so on; what is raised stands in `plica.errors`.
"""
