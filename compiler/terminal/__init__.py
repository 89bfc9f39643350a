"""What is shown on a terminal: text that wraps, tables, verdicts, progress."""
