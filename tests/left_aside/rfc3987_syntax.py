"""Stands in for a checker of web addresses, so that no child process of the tests loads the real one.

The real one works out its grammars for 2 s in each JupyterLab, nbval and nbconvert that starts. No notebook
and no setting here has an address to check, and jsonschema takes an import that fails as "not installed".
tests/conftest.py puts this folder in front of the path of child processes.
"""

raise ImportError("left aside while tests run: see this file")
