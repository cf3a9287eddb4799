"""Stands in for a debugger that nobody here uses, so that no kernel of the tests loads the real one.

See rfc3987_syntax.py beside it; the kernel takes an import that fails as "not installed".
"""

raise ImportError("left aside while tests run: see this file")
