"""Text to tree: parsing, the nodes with their places, the formatter.

Knows the language's form and nothing of what the words mean.
"""
