"""Marking: whose file it is, what it earns, and the pages that say so."""
