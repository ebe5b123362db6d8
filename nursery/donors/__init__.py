"""Taxa, genets, permits and donor colonies."""
