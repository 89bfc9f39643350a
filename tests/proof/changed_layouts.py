"""A small railway before and after changes of all sorts."""

LOOP = """layout "Eel Fen" on three rails
points P1, P2
run edge WEST - A - >W1 - P1.toe
run P1.straight - <D1 - T1 - >E1 - P2.straight
run P1.diverging - <D2 - T2 - >E2 - P2.diverging
run P2.toe - <B1 - B - edge EAST
overlap E1 = P2
routes derive
locking derive
"""

LONGER = LOOP.replace("<D2 - T2", "<D2 - X - T2")
WITHOUT = LOOP.replace("overlap E1 = P2\n", "")
FEWER = LOOP.replace("routes derive", "route UP = W1 to E1\nroute OUT = E1 to EAST")
MORE = FEWER.replace("\nroute OUT", "\nroute BY = W1 to E2\nroute OUT")
WIDER = LOOP.replace("points P1, P2", "points P1, P2, P3").replace(
    "<D1 - T1", "<D1 - P3.toe\nrun P3.diverging - T3 - stop\nrun P3.straight - T1"
)

CHANGES = {
    "a piece put in": (LOOP, LONGER),
    "a piece taken out": (LONGER, LOOP),
    "an overlap taken away": (LOOP, WITHOUT),
    "an overlap put in": (WITHOUT, LOOP),
    "a route more": (FEWER, MORE),
    "a route less": (MORE, FEWER),
    "points put in": (LOOP, WIDER),
    "points taken out": (WIDER, LOOP),
}
