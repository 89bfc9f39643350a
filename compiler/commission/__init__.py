"""The commissioning of a layout: what to throw, what was seen, and what follows from it.

Questions and answers as values, the edits that `crossed` needs, and the record. Knows no
terminal and no link, and writes no file.
"""
