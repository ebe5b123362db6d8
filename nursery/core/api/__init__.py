"""The API's own foundations, and what it says of events, code series and history."""
