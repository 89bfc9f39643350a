"""The controller: what runs the railway, from reports to signals, and the railway with it.

The machine of the room below is one event system in which a move of a train changes at once
what is true on the track and what the interlocking knows. A controller sees reports alone.
Here it is made from the machine's own interlocking, with guards that read nothing but what
the controller has, and put together with the trains, drives and reports of the railway, so
that all that is proved of the machine can be proved of the two together.
"""
