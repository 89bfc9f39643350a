"""The words of each command: its arguments, its options and its help.

A module here has the name of the one beside this folder that does what the command is for.
That one may load the whole compiler; nothing here does, so that help and completion come
at once.
"""
