"""One file for each format that tables are handed on in."""
