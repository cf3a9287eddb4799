"""Exercises: one room a workbook, and the core that they share.

    core.py       Exercise, WrongModel, judge: the contract
    compare.py    the forms that an answer may have
    plain.py      plain data, and how it crosses a border
    workbook.py   open_workbook, and what a notebook does with it
    notebooks.py  the notebook file: find, build, fill in and blank the answer cells
    workbook_NN   the exercises of workbook NN: `TITLE` and `EXERCISES`

A room `workbook_NN` is imported when its workbook is opened, and not before.
"""

from lessonkit.exercises.compare import Choice, ChoiceSet, Count, ListOf, Number, Record, Table
from lessonkit.exercises.core import Exercise, Verdict, WrongModel, judge
from lessonkit.exercises.workbook import Workbook, known_workbooks, load_exercises, open_workbook

__all__ = [
    # the contract
    "Exercise",
    "Verdict",
    "WrongModel",
    "judge",
    # forms of answers
    "Choice",
    "ChoiceSet",
    "Count",
    "ListOf",
    "Number",
    "Record",
    "Table",
    # workbooks
    "Workbook",
    "known_workbooks",
    "load_exercises",
    "open_workbook",
]
