"""Sets of files that belong together, written into a folder as one.

What is promised. At every moment, also after a kill at any moment, the folder holds one
whole set: the old one or the new one. That holds where a folder can be exchanged for
another in one step: on Linux, on file systems that know `renameat2` with
`RENAME_EXCHANGE` (ext4, xfs, btrfs, tmpfs and others), for a folder that is not a mount
point, has no folders of the user's own in it, and does not hold the folder in which the
compiler is called; and on every POSIX system where there was no folder before. `exchange.py`
does it.

Elsewhere each file is replaced in one step, one after the other, with a journal:
`journal.py`. Until that is done the folder `bellcrank-build-unfinished` lies among the
files, so a mixed set can be told; an error in between puts the old files back, and the
next build completes what a kill has cut short.

A program that opens several files one after the other may come upon the moment between
two sets. `bellcrank-build.json` names the hash of each file, and each file the hash of
its source: compare them.

Files that no build wrote, or that were changed since, are never overwritten and never
deleted. Two builds into one folder wait for each other where the system has `flock`;
elsewhere, as on Windows, run one at a time.
"""
