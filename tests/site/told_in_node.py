"""Runs `told.py` where the folders are those that the test has mounted."""

import sys

sys.path.insert(0, "/tests")

from told import tell

tell("/books", "/out/page.json")
