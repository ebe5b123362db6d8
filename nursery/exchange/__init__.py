"""Import, export and labels."""
