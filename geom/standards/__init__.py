"""Tables as CSV with source and edition, and the lookups over them."""
