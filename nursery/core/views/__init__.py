"""Pages: what all of them stand on, logging in and out, and lists."""
