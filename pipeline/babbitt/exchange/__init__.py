"""Records out to plain tables, and in from them."""
