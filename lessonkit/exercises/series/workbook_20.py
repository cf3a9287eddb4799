"""Workbook 20: the concept test, the form that is taken before the course."""

from __future__ import annotations

from lessonkit.exercises.concepts import concept_exercises

TITLE = "Concept test, before the course"

EXERCISES = concept_exercises("20", "before")
