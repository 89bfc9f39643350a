"""Results to files and tables: documents, targets, atomic writing.

Prints and writes what the stages before it found; decides nothing itself.
"""
