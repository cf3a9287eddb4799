"""Grading: a folder of answered workbooks becomes marks, through nbval.

Nothing a student wrote can touch the marks or the machine.

Answers cross from one half to the other as data, and as nothing else:

    hand out   roster.py  handout.py               who has which numbers; the files, and the manifest
    read       intake.py  answers.py  evaluate.py  bytes -> cells -> answers, without executing anything
               reader.py  children.py  read.py     ... in a child process with limits, a batch at a time
               slices.py  confine.py  inside.py    what has to be run, run in a confined process of its own
    judge      school.py  judge.py  nbval_run.py   answers as literals in the school's own notebook, run by
    nbval mark       identify.py  marks.py  tables.py    whose file it is; points, tables, the teacher's
    changes
               pages.py  picture.py                a page a student, the class picture
    run        run.py  store.py  cli.py            all of it, through any executor, cut off and taken up

The border between reading and judging is `lessonkit.exercises.plain`: exact builtin types, bounded, checked
on both sides. What a room here believes about a file, a line or a process that a student could have made, it
checks itself.
"""
