"""Pictures: the wiring of a bench, the scope, and still pictures for text and print.

Live pictures are SVG that the standard library's XML tools write; each carries a text alternative that says
in words what it shows. Still pictures are matplotlib's. Every picture is a pure function of what it shows.
"""
