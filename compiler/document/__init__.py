"""Everything known about a layout as plain data: the document that targets read."""
