"""Playing a timetable over a link: to a broker, over a network line, a serial line.

Reads timetables and knows texts that are ready to be sent. It compiles nothing, makes no
texts and prints nothing: whoever plays is told what became of each step. Every wait here has
a limit.
"""
