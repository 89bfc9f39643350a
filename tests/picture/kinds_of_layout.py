"""Layouts of the kinds that people build, as text: what every picture is judged by.

All are in invented places. `KINDS` has each by its name; yards, stations and lines of any
size are made by `yard`, `station` and `loops`.
"""

from __future__ import annotations

from collections.abc import Mapping


def station(tracks: int) -> str:
    """A through station: ladders at both ends in the straight legs, a signal at each end of
    each track."""
    lines = [f'layout "Fernhollow of {tracks}"']
    west = [f"W{n}" for n in range(1, tracks)]
    east = [f"E{n}" for n in range(1, tracks)]
    lines += [f"points {', '.join(west + east)}", "run edge WEST - A - >H - W1.toe"]
    for n in range(1, tracks + 1):
        # The main is the straight leg of all points; the last track is its end.
        one = f"W{n}.diverging" if n < tracks else f"W{tracks - 1}.straight"
        other = f"E{n}.diverging" if n < tracks else f"E{tracks - 1}.straight"
        lines.append(f"run {one} - <L{n} - T{n} - >R{n} - {other}")
    for n in range(1, tracks - 1):
        lines += [f"run W{n}.straight - W{n + 1}.toe", f"run E{n}.straight - E{n + 1}.toe"]
    lines.append("run E1.toe - B - <K - C - edge EAST")
    return "\n".join(lines) + "\n"


def yard(roads: int, *, diverging: bool = False, joined: bool = False) -> str:
    """A yard with a ladder of so many roads.

    diverging: whether the ladder leads on by the diverging legs, the roads being straight.
    joined: whether a ladder joins the other ends of the roads as well.
    """
    on, off = ("diverging", "straight") if diverging else ("straight", "diverging")
    lines = [f'layout "Gorsebank Yard of {roads}"']
    for side in "PQ" if joined else "P":
        lines.append(f"points {', '.join(f'{side}{n}' for n in range(1, roads))}")
    lines.append("run edge WEST - NECK - >H - P1.toe")
    for n in range(1, roads + 1):
        one = f"P{n}.{off}" if n < roads else f"P{n - 1}.{on}"
        other = f">E{n} - Q{n}.{off}" if n < roads else f">E{n} - Q{n - 1}.{on}"
        lines.append(f"run {one} - <S{n} - R{n} - {other if joined else 'stop'}")
    for side in "PQ" if joined else "P":
        lines += [f"run {side}{n}.{on} - {side}{n + 1}.toe" for n in range(1, roads - 1)]
    if joined:
        lines.append("run Q1.toe - OUT - <K - AWAY - edge EAST")
    return "\n".join(lines) + "\n"


def loops(stations: int) -> str:
    """A single line of stations with a passing loop each."""
    lines = ['layout "Larch Valley Line"', "run edge WEST - A0 - >H1 - W1.toe"]
    for n in range(1, stations + 1):
        lines += [
            f"points W{n}, E{n}",
            f"run W{n}.straight - <L{n} - M{n} - >R{n} - E{n}.straight",
            f"run W{n}.diverging - <P{n} - N{n} - >Q{n} - E{n}.diverging",
            f"run E{n}.toe - <K{n} - A{n} - "
            + (f">H{n + 1} - W{n + 1}.toe" if n < stations else "edge EAST"),
        ]
    return "\n".join(lines) + "\n"


TERMINUS_DOUBLE_LADDER = """\
layout "Pennywhistle Terminus"
points XA, XB, A1, A2, B1, B2
run edge DOWN - DM - >HD - XA.toe
run edge UP - UM - >HU - XB.straight
run XA.diverging - XB.diverging
run XA.straight - A1.toe
run XB.toe - B1.toe
run A1.diverging - A2.toe
run A2.diverging - <S1 - T1 - stop
run A2.straight - <S2 - T2 - stop
run A1.straight - <S3 - T3 - stop
run B1.straight - <S4 - T4 - stop
run B1.diverging - B2.toe
run B2.straight - <S5 - T5 - stop
run B2.diverging - <S6 - T6 - stop
"""

TERMINUS_RUN_ROUND = """\
layout "Sandpiper Quay"
points P1, P2, P3
run edge TOWN - LINE - >H - P1.toe
run P1.straight - <S1 - PLATFORM - P2.straight
run P1.diverging - P3.toe
run P3.straight - <S2 - LOOP - P2.diverging
run P3.diverging - <S3 - SIDING - stop
run P2.toe - <S4 - HEAD - stop
"""

DOUBLE_JUNCTION = """\
layout "Thornapple Junction"
points DJ, UJ
fixed diamond DX
run edge DOWN_W - D1 - >DH - DJ.toe
run DJ.straight - DX.b1
run DX.b2 - D2 - >DS - D3 - edge DOWN_E
run edge UP_W - U3 - <US - U2 - UJ.toe
run UJ.straight - <UH - U1 - edge UP_E
run DJ.diverging - BD - >BS - BE - edge BRANCH_DOWN
run UJ.diverging - DX.a1
run DX.a2 - <BH - BU - edge BRANCH_UP
"""

CROSSOVERS = """\
layout "Quince Street"
points XA, XB, YA, YB
run edge DOWN_W - D1 - >D - XA.toe
run XA.straight - D2 - YA.straight
run YA.toe - D3 - >DX - D4 - edge DOWN_E
run edge UP_W - U1 - <UX - U2 - XB.straight
run XB.toe - U3 - YB.toe
run YB.straight - <U - U4 - edge UP_E
run XA.diverging - XB.diverging
run YB.diverging - YA.diverging
"""

SCISSORS = """\
layout "Millet Cross"
points A1, A2, B1, B2
fixed diamond X
run edge W1 - D1 - >HD - A1.toe
run A1.straight - A2.straight
run A2.toe - D2 - >SD - D3 - edge E1
run edge W2 - U1 - <SU - U2 - B1.toe
run B1.straight - B2.straight
run B2.toe - <HU - U3 - edge E2
run A1.diverging - X.a1
run X.a2 - B2.diverging
run B1.diverging - X.b1
run X.b2 - A2.diverging
"""

GOODS_STATION = """\
layout "Burdock Goods"
points W1, W2, E1, E2, Y1, Y2, Y3
run edge WEST - A - >H - W1.toe
run W1.straight - W2.toe
run W2.straight - <L1 - T1 - >R1 - E2.straight
run W2.diverging - <L2 - T2 - >R2 - E2.diverging
run E2.toe - E1.straight
run E1.toe - B - <K - C - edge EAST
run W1.diverging - Y1.toe
run Y1.straight - <L3 - T3 - >R3 - E1.diverging
run Y1.diverging - Y2.toe
run Y2.straight - <S1 - G1 - stop
run Y2.diverging - Y3.toe
run Y3.straight - <S2 - G2 - stop
run Y3.diverging - <S3 - G3 - stop
"""

HIDDEN_YARD = """\
layout "Underhill"
points I1, I2, I3, I4, I5, O1, O2, O3, O4, O5
run SCENE - >HOME - I1.toe
run I1.diverging - T1 - >S1 - O1.diverging
run I2.diverging - T2 - >S2 - O2.diverging
run I3.diverging - T3 - >S3 - O3.diverging
run I4.diverging - T4 - >S4 - O4.diverging
run I5.diverging - T5 - >S5 - O5.diverging
run I5.straight - T6 - >S6 - O5.straight
run I1.straight - I2.toe
run I2.straight - I3.toe
run I3.straight - I4.toe
run I4.straight - I5.toe
run O5.toe - O4.straight
run O4.toe - O3.straight
run O3.toe - O2.straight
run O2.toe - O1.straight
run O1.toe - BACK - >BLOCK - SCENE
"""

TURNING_LOOP = """\
layout "Kettle Hill" on two rails
points P
run edge TOWN - A - B - >H - P.toe
run P.straight - <K1 - LEFT - TOP - >K2 - P.diverging
reverser TOP
"""

WYE = """\
layout "Sorrel Fork" on three rails
points W, E, N
run edge WEST - A - >HW - W.toe
run W.straight - <TW - M - >TE - E.straight
run E.toe - <HE - B - edge EAST
run W.diverging - <CW - C - >CN - N.straight
run E.diverging - <DE - D - >DN - N.diverging
run N.toe - <HN - F - edge NORTH
"""

OVAL = """\
layout "Clover Ring" on three rails
points W, E
run E.toe - <K - BACK - >H - W.toe
run W.straight - <L1 - T1 - >R1 - E.straight
run W.diverging - <L2 - T2 - >R2 - E.diverging
"""

TWO_OVALS = """\
layout "Daisy Rings" on three rails
points XA, XB, YA, YB
run XA.straight - O1 - >SO1 - YA.straight
run YA.toe - O2 - >SO2 - O3 - >SO3 - XA.toe
run XB.toe - I1 - >SI1 - YB.toe
run YB.straight - I2 - >SI2 - I3 - >SI3 - XB.straight
run XA.diverging - XB.diverging
run YB.diverging - YA.diverging
"""

THREE_OVALS = """\
layout "Onion Fields" on three rails
run A1 - >SA1 - A2 - >SA2 - A1
run B1 - >SB1 - B2 - >SB2 - B1
run C1 - >SC1 - C2 - >SC2 - C1
"""

FIGURE_OF_EIGHT = """\
layout "Ribbon Common" on three rails
fixed diamond X
points W, E
run X.a2 - <QA - A - >SA - B - >SB - X.b1
run X.b2 - <QD - D - >SD - W.toe
run W.straight - <L1 - T1 - >R1 - E.straight
run W.diverging - <L2 - T2 - >R2 - E.diverging
run E.toe - <K - C - >SC - X.a1
"""

CLUB = """\
layout "Barley Mow and District" on three rails
points W1, W2, E1, E2, RD, RU
run WEST - >D1 - W1.toe
run W1.straight - D2 - >SD2 - E1.straight
run W1.diverging - D3 - >SD3 - E1.diverging
run E1.toe - D4 - >SD4 - RD.toe
run RD.straight - D5 - >SD5 - WEST
run BACK - >U1 - E2.toe
run E2.straight - U2 - >SU2 - W2.straight
run E2.diverging - U3 - >SU3 - W2.diverging
run W2.toe - U4 - >SU4 - RU.straight
run RU.toe - U5 - >SU5 - BACK
run RD.diverging - RETURN - >SR - RU.diverging
"""

ENGINE_SHED = """\
layout "Soot Lane Shed" on three rails
fitting turntable with five roads {
  legs lead, r1, r2, r3, r4, r5
  drive one, two, three, four, five
  way lead - r1 when one
  way lead - r2 when two
  way lead - r3 when three
  way lead - r4 when four
  way lead - r5 when five
  drawn as turntable
}
turntable TT with five roads
points P1, P2
run edge MAIN - A - >H - P1.toe
run P1.straight - B - >HT - TT.lead
run P1.diverging - P2.toe
run P2.straight - <SC - COAL - stop
run P2.diverging - <SA - ASH - stop
run TT.r1 - <S1 - STALL1 - stop
run TT.r2 - <S2 - STALL2 - stop
run TT.r3 - <S3 - STALL3 - stop
run TT.r4 - <S4 - STALL4 - stop
run TT.r5 - <S5 - STALL5 - stop
"""

TRAVERSER = """\
layout "Plane Tree Works" on three rails
fitting traverser with four roads {
  legs lead, r1, r2, r3, r4
  drive one, two, three, four
  way lead - r1 when one
  way lead - r2 when two
  way lead - r3 when three
  way lead - r4 when four
  drawn as traverser
}
traverser TV with four roads
run edge MAIN - A - >H - TV.lead
run TV.r1 - <S1 - BAY1 - stop
run TV.r2 - <S2 - BAY2 - stop
run TV.r3 - <S3 - BAY3 - stop
run TV.r4 - <S4 - BAY4 - stop
"""

THREE_WAY = """\
layout "Teasel Yard"
three way points P, Q
points A, B
run edge WEST - LEAD - >H - P.toe
run P.left - A.toe
run P.straight - Q.toe
run P.right - B.toe
run A.straight - <S1 - R1 - stop
run A.diverging - <S2 - R2 - stop
run Q.left - <S3 - R3 - stop
run Q.straight - <S4 - R4 - stop
run Q.right - <S5 - R5 - stop
run B.straight - <S6 - R6 - stop
run B.diverging - <S7 - R7 - stop
"""

SLIPS_IN_SERIES = """\
layout "Copper Row"
double slip S1, S2, S3 with two drives
points P, Q
run edge DOWN - D1 - >HD - P.toe
run P.straight - <L1 - T1 - >R1 - Q.straight
run P.diverging - S1.a1
run S1.a2 - S2.a1
run S2.a2 - S3.a1
run S3.a2 - Q.diverging
run Q.toe - D2 - <KD - D3 - edge DOWN_E
run edge G1 - GA - >H1 - S1.b1
run S1.b2 - <X1 - K1 - stop
run edge G2 - GB - >H2 - S2.b1
run S2.b2 - <X2 - K2 - stop
run edge G3 - GC - >H3 - S3.b1
run S3.b2 - <X3 - K3 - stop
"""

SLIPS_IN_A_MAIN = """\
layout "Brass Row"
double slip S1, S2 with one drive
points P, Q
run edge WEST - A - >H - S1.a1
run S1.a2 - M - S2.a1
run S2.a2 - B - <K - C - edge EAST
run edge UP - D - >HU - P.toe
run P.diverging - S1.b1
run S1.b2 - <Y1 - G1 - stop
run P.straight - E - Q.straight
run edge YARD - G2 - >Y2 - S2.b1
run S2.b2 - Q.diverging
run Q.toe - F - <KU - G - edge UP_E
"""

FLYOVER = """\
layout "Heather Flyover"
points PD, PU
run edge DOWN_W - DA - >D1 - PD.toe
run PD.straight - DB - >D2 - DC - edge DOWN_E
run edge UP_W - UC - <U3 - UB - PU.toe
run PU.straight - <U1 - UA - edge UP_E
run PD.diverging - BD - >B1 - BE - edge BRANCH_OUT
run PU.diverging - <B2 - BA - edge BRANCH_IN
"""

TWO_LAYOUTS = """\
layout "Two Shelves"
points P1, P2, Q1
run edge WEST - A - >H - P1.toe
run P1.straight - <L1 - T1 - >R1 - P2.straight
run P1.diverging - <L2 - T2 - >R2 - P2.diverging
run P2.toe - B - <K - C - edge EAST
run edge SHELF - D - >J - Q1.toe
run Q1.straight - <S1 - X - stop
run Q1.diverging - <S2 - Y - stop
"""

LONG_NAMES = """\
layout "Saint Withburga at the Water"
points Western_throat_points, Eastern_throat_points
run edge Towards_Nettlecombe - Approach_from_Nettlecombe - >Nettlecombe_home -
    Western_throat_points.toe
run Western_throat_points.straight - <Up_starter_platform - Platform_by_the_station_house -
    >Down_starter_platform - Eastern_throat_points.straight
run Western_throat_points.diverging - <Up_starter_loop - Loop_along_the_cattle_dock -
    >Down_starter_loop - Eastern_throat_points.diverging
run Eastern_throat_points.toe - Approach_from_Oxlip_Bridge - <Oxlip_Bridge_home - Far_away -
    edge Towards_Oxlip_Bridge
"""

FANS_BOTH_SIDES = """\
layout "Lavender Sidings"
points A1, A2, A3, B1, B2, B3
run edge WEST - A - >H - A1.toe
run A1.straight - B1.toe
run A1.diverging - A2.toe
run A3.diverging - <S1 - R1 - stop
run A3.straight - <S2 - R2 - stop
run A2.diverging - A3.toe
run A2.straight - <S3 - R3 - stop
run B1.straight - M - >X - N - edge EAST
run B1.diverging - B2.toe
run B2.straight - <S4 - R4 - stop
run B2.diverging - B3.toe
run B3.straight - <S5 - R5 - stop
run B3.diverging - <S6 - R6 - stop
draw R1 above M above R6
"""

SINGLE_LINE_HALT = loops(1)

KINDS: Mapping[str, str] = {
    "station of two": station(2),
    "station of four": station(4),
    "station of eight": station(8),
    "terminus with a double ladder": TERMINUS_DOUBLE_LADDER,
    "terminus with a run-round": TERMINUS_RUN_ROUND,
    "double junction": DOUBLE_JUNCTION,
    "crossovers": CROSSOVERS,
    "scissors": SCISSORS,
    "yard of six": yard(6),
    "yard of ten by diverging legs": yard(10, diverging=True),
    "yard of fourteen": yard(14),
    "yard of eight joined at both ends": yard(8, diverging=True, joined=True),
    "fans on both sides": FANS_BOTH_SIDES,
    "goods station": GOODS_STATION,
    "hidden yard": HIDDEN_YARD,
    "turning loop": TURNING_LOOP,
    "wye": WYE,
    "oval": OVAL,
    "two ovals": TWO_OVALS,
    "three ovals": THREE_OVALS,
    "figure of eight": FIGURE_OF_EIGHT,
    "club layout": CLUB,
    "engine shed": ENGINE_SHED,
    "traverser": TRAVERSER,
    "three-way points": THREE_WAY,
    "slips in series": SLIPS_IN_SERIES,
    "slips in a main": SLIPS_IN_A_MAIN,
    "flyover": FLYOVER,
    "six loops": loops(6),
    "thirteen stations": loops(13),
    "two layouts": TWO_LAYOUTS,
    "long names": LONG_NAMES,
}
