"""The standing check: is any set of routes unsafe that the locking allows?"""
