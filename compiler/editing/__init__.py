"""What an editor is told of a layout while it is being written: a language server.

It speaks the Language Server Protocol, version 3.17, over standard input and output. It calls
the functions that `check` calls, and nothing else here knows of it. `server.py` says which
message leads where; `desk.py` holds what is open and what is known of it.
"""
