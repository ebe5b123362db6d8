"""Looking after what grows in the nurseries: checks."""
