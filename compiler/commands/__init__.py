"""The commands of the command line: each a module of its own, and what they share."""
