"""The audit of a manifest against the programme's policy, before the boat leaves."""
