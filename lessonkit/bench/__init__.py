"""Bench: a job brought to life, one consistent state through time."""
