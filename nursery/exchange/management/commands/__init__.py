"""Commands of import and export."""
