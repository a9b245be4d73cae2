"""Forms at the bench: a session with its timers, and what is due to be read."""
