"""Small layouts to seed faults in, each with something of its own to go wrong.

All their states can be looked at in a moment. Derived locking of each is proved,
and nothing is wrong in any of its states.
"""

SMALL: dict[str, str] = {
    "points": """
        points P
        run edge W - A - >H - P.toe
        run P.straight - <S1 - T1 - stop
        run P.diverging - <S2 - T2 - stop
    """,
    "trailing points": """
        points P
        run edge W1 - A - >H1 - P.straight
        run edge W2 - B - >H2 - P.diverging
        run P.toe - C - edge E
    """,
    "three way points": """
        three way points P
        run edge W - A - >H - P.toe
        run P.left - edge X
        run P.straight - T - stop
        run P.right - edge Y
    """,
    "single line": """
        run edge W - A - >D - L - <U - B - edge E
    """,
    "line of two": """
        run edge W - A - >D1 - L - >D2 - B - edge E
    """,
    "overlap": """
        run edge W - A - >D1 - L - >D2 - B - C - edge E
        overlap D2 = B
    """,
    "overlap at points": """
        points P
        run edge W - >D1 - L - >D2 - P.toe
        run P.straight - T1 - stop
        run P.diverging - <U - T2 - stop
        overlap D2 = P
    """,
    "slip with one drive": """
        double slip X with one drive
        run edge A1 - A - >HA - X.a1
        run edge B1 - B - >HB - X.b1
        run X.a2 - edge A2
        run X.b2 - edge B2
    """,
    "slip with two drives": """
        double slip X with two drives
        run edge A1 - A - >HA - X.a1
        run edge B1 - >HB - X.b1
        run X.a2 - edge A2
        run X.b2 - edge B2
    """,
    "single slip": """
        single slip X with one drive
        run edge A1 - >HA - X.a1
        run edge B1 - B - >HB - X.b1
        run X.a2 - edge A2
        run X.b2 - T - stop
    """,
    "diamond": """
        fixed diamond X
        run edge A1 - A - >HA - X.a1
        run edge B1 - B - >HB - X.b1
        run X.a2 - C - edge A2
        run X.b2 - edge B2
    """,
    "crossover": """
        points PA, PB
        coupled PA, PB
        run edge A1 - >HA - PA.toe
        run PA.straight - edge A2
        run edge B1 - >HB - PB.straight
        run PB.toe - edge B2
        run PA.diverging - PB.diverging
    """,
    "calling on": """
        points P
        run edge W - A - >H - P.toe
        run P.straight - T - stop
        run P.diverging - edge X
        signal H shows stop, call, clear
        routes derive
        route CALL = H to T calling on shows call
    """,
    "loop": """
        points P
        run edge HILL - C - >H - P.toe
        run P.straight - LA - >L1 - <L2 - LB - P.diverging
        reverser LA, LB
    """,
    "flank": """
        points PA, PB
        run edge W - >H - PA.straight
        run PA.toe - edge E
        run PA.diverging - PB.diverging
        run stop - SIDING - PB.toe
        run PB.straight - <Y - SPUR - stop
        flank derive
    """,
    "long way in": """
        run edge W - A - B - >D - L - <U - C - edge E
    """,
    "sections of two": """
        points P
        run edge W - A - >H - P.toe
        run P.straight - N - <S - T1 - stop
        run P.diverging - T2 - stop
        section THROAT = P, N
    """,
    "nothing detected": """
        layout "Marsh Halt" without detection
        points P
        run edge W - A - >H - P.toe
        run P.straight - N - T1 - stop
        run P.diverging - edge X
    """,
    "turntable": """
        fitting turntable with three positions {
          legs lead, north, south, east
          drive one, two, three
          way lead - north when one
          way lead - south when two
          way lead - east when three
        }
        turntable TT with three positions
        run edge W - A - >H - TT.lead
        run TT.north - <N - R1 - stop
        run TT.south - R2 - stop
        run TT.east - R3 - stop
    """,
    "junction": """
        points P
        fixed diamond X
        run edge W - >D - P.toe
        run P.straight - edge E
        run P.diverging - X.a1
        run X.a2 - edge BRANCH
        run edge UP - >U - X.b1
        run X.b2 - edge AWAY
    """,
    "whole routes": """
        points P, Q
        run edge W - >H - P.toe
        run P.straight - Q.toe
        run P.diverging - T1 - stop
        run Q.straight - edge X
        run Q.diverging - edge Y
        release whole routes
    """,
}
