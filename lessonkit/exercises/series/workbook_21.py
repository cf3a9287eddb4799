"""Workbook 21: the concept test, the form that is taken after the course."""

from __future__ import annotations

from lessonkit.exercises.concepts import concept_exercises

TITLE = "Concept test, after the course"

EXERCISES = concept_exercises("21", "after")
