"""Pooling: the logs of several benches joined, fitted as one, and what a newcomer's bench may expect."""
