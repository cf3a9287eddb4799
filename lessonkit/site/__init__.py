"""The series as a folder of files that any web server can give out, with Python running in the page.

`build_site` writes it; `serve_site` gives it out from this computer. What stands in the folder and why:

    index.html           the start page: the workbooks, what is kept where, the download of all answers
    notebooks/, build/   the notebook page, from its published package
    extensions/          the kernel that starts Python in the page, and the page's half of the panels
    runtime-XXXXXXXX/    Python for the page, numpy, matplotlib, lessonkit, and their bytecode made beforehand
    files/, api/         the workbooks, unanswered
    class/               only in a class site: each student's numbers, under a key that is no name
    lessonkit/           our own scripts and styles, and the mark by which the folder is known as a site
    service-worker.js    keeps what was fetched, where the browser lets it

Nothing in the page asks any other server.
"""

from lessonkit.site.build import Built, build_site
from lessonkit.site.classroom import ClassSite
from lessonkit.site.serve import serve_site

__all__ = ["Built", "ClassSite", "build_site", "serve_site"]
