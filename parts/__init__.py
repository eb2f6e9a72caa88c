"""Bundled jobs. Each is a folder with a `job.toml`; nothing in `geom` or `export` imports them."""
