"""Files out of a finished record: tables, drawings, meshes, bundles. Reads `geom`, never edits it."""
