"""Judging: answers as literals in the school's own notebook, run by nbval."""
