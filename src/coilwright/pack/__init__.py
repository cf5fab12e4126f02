"""Paper and pictures: results in, files out. Nothing is computed here."""
