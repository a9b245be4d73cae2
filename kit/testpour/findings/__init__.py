"""The page that is shared: what was asked, poured, found and left open, in one file."""
