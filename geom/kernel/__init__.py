"""The only door to the CAD kernel.

No module outside this package imports OCP; models in job folders are written
in CadQuery and enter through `geom.kernel.shape.from_cadquery`.
"""
