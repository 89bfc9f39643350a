"""The commands of the command line, each a module of its own, and what they share.

The only room that prints, asks, and knows of options and exit statuses.
"""
