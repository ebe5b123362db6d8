"""Pages of loading files and of long work."""
