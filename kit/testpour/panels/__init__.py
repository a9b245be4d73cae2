"""The round by tapping: one panel a step, each of them reading and writing the study folder only."""
