"""What every record stands on: people, actors, event headers, history, codes, dates."""
