"""Grading: a folder of answered workbooks becomes marks, through nbval.

Nothing a student wrote can touch the marks or the machine.

Answers cross from one half to the other as data, and as nothing else:

    handout/   each student's own files, and the manifest that says who has which numbers
    reading/   bytes -> cells -> answers, without executing anything, in a child process with limits;
               what has to be run is run in a confined process of its own
    judging/   answers as literals in the school's own notebook, run by nbval
    marking/   whose file it is; points, tables, the teacher's changes; a page a student, the class picture
    run.py     all of it, through any executor, cut off and taken up

The border between reading and judging is `lessonkit.exercises.plain`: exact builtin types, bounded, checked
on both sides. What a room here believes about a file, a line or a process that a student could have made, it
checks itself.
"""
