"""The log: every pour and reading, append-only."""
