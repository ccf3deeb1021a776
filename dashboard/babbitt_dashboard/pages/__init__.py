"""One module a page; each gives a `Page`."""
