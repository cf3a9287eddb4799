"""Panels: the bench under your hands, in a notebook.

Each panel is a pure function plus thin widgets. The function (`draw.view.show_bench`) gives the same picture
without a widget, so a workbook reads and runs with no browser; the panel adds keys, and a bench that goes on
living between clicks. `lessonkit` publishes the panels, and loads their rooms when they are first asked for.
"""
