"""One room for each command of the command line.

A room offers `add_arguments(parser)` and `run(options) -> int`, and is imported only when its command runs.
"""
