"""etholog: log pairings by single keys against a running clock, and learn from them over a season."""
