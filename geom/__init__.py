"""Geometry of a casting and the part inside it. Imports neither `export` nor `parts`."""
