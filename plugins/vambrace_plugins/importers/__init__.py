"""One file or folder for each format that ships with Vambrace."""
