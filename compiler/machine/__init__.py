"""Routes and locking rules to what the interlocking does.

The one definition of behaviour: whoever wants to know what the locking allows
reads it here. Knows nothing of solvers or of files to write.
"""
