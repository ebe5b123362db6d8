"""The domain: one Django app a folder, each standing on those before it."""
