"""Grading."""
