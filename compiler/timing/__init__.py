"""When each command is to be sent: timetables within the limits of drives and supplies.

Reads layout, routes and the commands in their order; knows no files and no links.
"""
