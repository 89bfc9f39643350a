"""Mistakes that beginners make: each gets one message, at the right word, with what helps.

Each is one change to a layout that is right, and the whole message that comes of it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest

import bellcrank
from bellcrank import Sound
from bellcrank.diagnostics import render

HALT = """\
points P1, P2
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - T1 - stop
run P1.diverging - P2.toe
run P2.straight - <S2 - T2 - stop
run P2.diverging - <S3 - T3 - stop
decoder kind quad { outputs 4  switches 9 }
decoder K1 quad at 1
drive P1 = K1.1  coil 200 ms
drive P2 = K1.2  coil 200 ms
signal H = K1.3
"""

SLIP = """\
double slip S1 with one drive
run edge W1 - A - >HA - S1.a1
run edge W2 - B - >HB - S1.b1
run S1.a2 - <HC - C - stop
run S1.b2 - <HD - D - stop
"""

OWN = """\
fitting stub points {
  legs toe, north, south
  drive north, south
  way toe - north when north
  way toe - south when south
}
stub points P1
run edge WEST - A - >H - P1.toe
run P1.north - <S1 - T1 - stop
run P1.south - <S2 - T2 - stop
decoder kind quad { outputs 4  switches 9 }
decoder K1 quad at 1
drive P1 = K1.1  coil 200 ms
"""


@dataclass(frozen=True)
class Mistake:
    """text: a layout that is right. was, now: what is changed in it, a name wherever it stands;
    what is not there already stands at its end. said: the message."""

    what: str
    was: str
    now: str
    said: str
    text: str = HALT


MISTAKES = [
    Mistake(
        "a signal that bears the name of another",
        "run P2.diverging - <S3 - T3 - stop\n",
        "run P2.diverging - <S2 - T3 - stop\nsignal S3 shunt\n",
        """\
layout.crank:6:21: error E202: `S2` is the name of a signal already
  6 | run P2.diverging - <S2 - T3 - stop
    |                     ^^
  try: give one of them another name
  layout.crank:5:20: named here first
  5 | run P2.straight - <S2 - T2 - stop
    |                    ^^
""",
    ),
    Mistake(
        "a leg that there is not, where one is left",
        "run S1.b2 - <HD",
        "run S1.c1 - <HD",
        """\
layout.crank:5:8: error E317: S1 has no leg `c1`
  5 | run S1.c1 - <HD - D - stop
    |        ^^
  expected: a leg of double slip with one drive: a1, b2, a2, b1
  try: write `S1.b2`, which no run joins
""",
        SLIP,
    ),
    Mistake(
        "a misspelt leg",
        "run P1.straight - <S1 - T1 - stop\n",
        "run P1.straigt - <S1 - T1 - stop\n",
        """\
layout.crank:3:8: error E317: P1 has no leg `straigt`
  3 | run P1.straigt - <S1 - T1 - stop
    |        ^^^^^^^
  expected: a leg of points: toe, straight, diverging
  try: did you mean `straight`?
""",
    ),
    Mistake(
        "a misspelt fitting in a run",
        "run P1.straight - <S1 - T1 - stop\n",
        "run PP1.straight - <S1 - T1 - stop\n",
        """\
layout.crank:3:5: error E201: there is no fitting `PP1`
  3 | run PP1.straight - <S1 - T1 - stop
    |     ^^^
  expected: a fitting: P1, P2
  try: did you mean `P1`?
""",
    ),
    Mistake(
        "points that are not declared",
        "points P1, P2\n",
        "points P1\n",
        """\
layout.crank:4:20: error E201: there is no fitting `P2`
  4 | run P1.diverging - P2.toe
    |                    ^^
  expected: a fitting: P1
  try: add a line that says what it is, such as `points P2`
""",
    ),
    Mistake(
        "a slip that is not declared",
        "double slip S1 with one drive\n",
        "",
        """\
layout.crank:1:25: error E201: there is no fitting `S1`
  1 | run edge W1 - A - >HA - S1.a1
    |                         ^^
  expected: a fitting
  try: add a line that says what it is, such as `double slip S1 with one drive`
""",
        text=SLIP,
    ),
    Mistake(
        "a leg without a run",
        "run P2.diverging - <S3 - T3 - stop\n",
        "",
        """\
layout.crank:1:12: error E311: the leg P2.diverging is joined to nothing
  1 | points P1, P2
    |            ^^
  expected: a run that goes on from there, or ends in `stop` or `edge NAME`
  try: add `run P2.diverging - stop` if track ends here
""",
    ),
    Mistake(
        "a misspelt kind of fitting",
        "points P1, P2\n",
        "point P1, P2\n",
        """\
layout.crank:1:1: error E204: there is no kind of fitting `point`
  1 | point P1, P2
    | ^^^^^
  expected: one of: points; three way points; double slip with one drive; double slip with two
    drives; single slip with one drive; single slip with two drives; fixed diamond
  try: did you mean `points`?
""",
    ),
    Mistake(
        "a comma left at the end of a line",
        "points P1, P2\n",
        "points P1,\npoints P2\n",
        """\
layout.crank:1:10: error E101: the line ends with a `,`
  1 | points P1,
    |          ^
  expected: a name after it
  try: take out the `,`: nothing follows it
""",
    ),
    Mistake(
        "names without commas",
        "points P1, P2\n",
        "points P1 P2\n",
        """\
layout.crank:1:8: error E101: the names of points stand without commas
  1 | points P1 P2
    |        ^^^^^
  try: put commas between them: `points P1, P2`
""",
    ),
    Mistake(
        "two drives on one output",
        "drive P2 = K1.2  coil 200 ms\n",
        "drive P2 = K1.1  coil 200 ms\n",
        """\
layout.crank:10:12: error E602: K1.1 is used twice: by P1 and by P2
  10 | drive P2 = K1.1  coil 200 ms
     |            ^^^^
  expected: an output that nothing else is wired to
  try: K1.2 is free
  layout.crank:9:12: P1 is wired to it here
  9 | drive P1 = K1.1  coil 200 ms
    |            ^^^^
""",
    ),
    Mistake(
        "a time without a unit",
        "drive P1 = K1.1  coil 200 ms\n",
        "drive P1 = K1.1  coil 200\n",
        """\
layout.crank:9:23: error E606: `200` has no unit
  9 | drive P1 = K1.1  coil 200
    |                       ^^^
  expected: milliseconds (ms) or seconds (s)
  try: write `200 ms`
""",
    ),
    Mistake(
        "a slip without its drives",
        "double slip S1 with one drive\n",
        "double slip S1\n",
        """\
layout.crank:1:1: error E204: there is no kind of fitting `double slip`
  1 | double slip S1
    | ^^^^^^^^^^^
  expected: one of: points; three way points; double slip with one drive; double slip with two
    drives; single slip with one drive; single slip with two drives; fixed diamond
  try: say which: `double slip S1 with one drive` or `double slip S1 with two drives`
""",
        SLIP,
    ),
    Mistake(
        "an edge named twice",
        "run edge W2 - B - >HB - S1.b1\n",
        "run edge W1 - B - >HB - S1.b1\n",
        """\
layout.crank:3:10: error E202: `W1` is the name of an edge already
  3 | run edge W1 - B - >HB - S1.b1
    |          ^^
  try: give one of them another name
  layout.crank:2:10: named here first
  2 | run edge W1 - A - >HA - S1.a1
    |          ^^
""",
        SLIP,
    ),
    Mistake(
        "no stop at an end",
        "run P1.straight - <S1 - T1 - stop\n",
        "run P1.straight - <S1 - T1\n",
        """\
layout.crank:3:25: error E311: the right end of T1 is joined to nothing
  3 | run P1.straight - <S1 - T1
    |                         ^^
  expected: a run that goes on from there, or ends in `stop` or `edge NAME`
  try: add `run T1 - stop` if track ends here, or write `edge T1` if it is where track leaves the
    layout
""",
    ),
    Mistake(
        "a leg used twice",
        "run P2.straight - <S2 - T2 - stop\n",
        "run P1.straight - <S2 - T2 - stop\n",
        """\
layout.crank:5:5: error E310: the leg P1.straight is joined twice
  5 | run P1.straight - <S2 - T2 - stop
    |     ^^^^^^^^^^^
  try: is `P2.straight` meant? No run is joined to it
  layout.crank:3:5: joined here as well
  3 | run P1.straight - <S1 - T1 - stop
    |     ^^^^^^^^^^^
""",
    ),
    Mistake(
        "an arrow in place of a dash",
        "run edge WEST - A - >H - P1.toe\n",
        "run edge WEST - A - H >  P1.toe\n",
        """\
layout.crank:2:23: error E101: `>` does not belong here
  2 | run edge WEST - A - H >  P1.toe
    |                       ^
  expected: the end of the line, `-` or `.`
  try: `-` joins two pieces; if H is a signal, write `- >H -`
""",
    ),
    Mistake(
        "an arrow left out",
        "run edge WEST - A - >H - P1.toe\n",
        "run edge WEST - A - H - P1.toe\n",
        """\
layout.crank:11:8: error E201: `H` is a piece of track, not a signal
  11 | signal H = K1.3
     |        ^
  expected: a signal: S1, S2, S3
  try: write `>H` in the run if H is a signal
  layout.crank:2:21: a piece of track `H`
  2 | run edge WEST - A - H - P1.toe
    |                     ^
""",
    ),
    Mistake(
        "an arrow turned round",
        "run edge WEST - A - >H - P1.toe\n",
        "run edge WEST - A - <H - P1.toe\n",
        """\
layout.crank:2:22: warning W815: trains that come in at WEST meet no signal before P1, and no route
    leads a train to S1, S2 and S3
  2 | run edge WEST - A - <H - P1.toe
    |                      ^
  try: write `>H` if it is read by trains that come in
""",
    ),
    Mistake(
        "a title without quotes",
        "points P1, P2\n",
        """\
layout Marsh Halt
points P1, P2
""",
        """\
layout.crank:1:8: error E101: `Marsh` does not belong here
  1 | layout Marsh Halt
    |        ^^^^^
  expected: a text in double quotes, such as "Home Yard"
  try: put it in double quotes: "Marsh Halt"
""",
    ),
    Mistake(
        "a remark behind two slashes",
        "points P1, P2\n",
        "points P1, P2  // the throat\n",
        """\
layout.crank:1:16: error E101: `/` does not belong here
  1 | points P1, P2  // the throat
    |                ^
  try: a comment begins with `#`
""",
    ),
    Mistake(
        "typographic quotes",
        "points P1, P2\n",
        """\
layout “Marsh Halt”
points P1, P2
""",
        """\
layout.crank:1:8: error E101: `“` does not belong here
  1 | layout “Marsh Halt”
    |        ^
  expected: a text in double quotes, such as "Home Yard"
  try: use straight double quotes: "Marsh Halt"
""",
    ),
    Mistake(
        "addresses that overlap",
        "",
        "decoder K2 quad at 3\n",
        """\
layout.crank:12:20: error E603: K2 and K1 both answer to address 3
  12 | decoder K2 quad at 3
     |                    ^
  expected: an address of its own for each output
  try: 5 is free
  layout.crank:8:20: K1 begins at 1
  8 | decoder K1 quad at 1
    |                    ^
""",
    ),
    Mistake(
        "an address that no switches show",
        "decoder K1 quad at 1\n",
        "decoder K1 quad at 600\n",
        """\
layout.crank:8:20: error E605: 9 switches cannot set 600
  8 | decoder K1 quad at 600
    |                    ^^^
  expected: at most 511
  try: 511 can be set, and is free
""",
    ),
    Mistake(
        "reverse for diverging",
        "",
        "flank H to T1 = P2 reverse\n",
        """\
layout.crank:12:20: error E502: P2 has no position `reverse`
  12 | flank H to T1 = P2 reverse
     |                    ^^^^^^^
  expected: straight or diverging
  try: here it is called `diverging`
""",
    ),
    Mistake(
        "a drive that is not wired",
        "drive P2 = K1.2  coil 200 ms\n",
        "",
        """\
layout.crank:1:12: error E601: P2 is on no output, while other drives are wired
  1 | points P1, P2
    |            ^^
  expected: a line such as `drive P2 = K1.2  coil 200 ms`
  try: write `drive P2 by hand` if nothing throws it
""",
    ),
    Mistake(
        "swapped for crossed",
        "drive P1 = K1.1  coil 200 ms\n",
        "drive P1 = K1.1  coil 200 ms  swapped\n",
        """\
layout.crank:9:31: error E101: `swapped` does not belong here
  9 | drive P1 = K1.1  coil 200 ms  swapped
    |                               ^^^^^^^
  expected: the end of the line, `coil`, `crossed`, `detected`, `held`, `motor`, `one`, `rests`,
    `servo`, `settles`, `takes` or `wires`
  try: here it is called `crossed`
""",
    ),
    Mistake(
        "reversed for crossed",
        "drive P1 = K1.1  coil 200 ms\n",
        "drive P1 = K1.1  coil 200 ms  reversed\n",
        """\
layout.crank:9:31: error E101: `reversed` does not belong here
  9 | drive P1 = K1.1  coil 200 ms  reversed
    |                               ^^^^^^^^
  expected: the end of the line, `coil`, `crossed`, `detected`, `held`, `motor`, `one`, `rests`,
    `servo`, `settles`, `takes` or `wires`
  try: here it is called `crossed`
""",
    ),
    Mistake(
        "an unknown signal in a route",
        "",
        "route X to T1\n",
        """\
layout.crank:12:7: error E401: no route can start at `X`: it is not a signal
  12 | route X to T1
     |       ^
  expected: a signal: H, S1, S2, S3
""",
    ),
    Mistake(
        "an unknown signal in an overlap",
        "",
        "overlap HH = P1\n",
        """\
layout.crank:12:9: error E201: there is no signal `HH`
  12 | overlap HH = P1
     |         ^^
  expected: a signal at which routes end
  try: did you mean `H`?
""",
    ),
    Mistake(
        "an unknown signal in a flank",
        "",
        "flank X to T1 = P2 straight\n",
        """\
layout.crank:12:7: error E401: there is no route `X to T1`
  12 | flank X to T1 = P2 straight
     |       ^^^^^^^
  expected: a route from one of: H, S1, S2, S3
""",
    ),
    Mistake(
        "a decoder without its kind",
        "decoder K1 quad at 1\n",
        "decoder K1 at 1\n",
        """\
layout.crank:8:12: error E101: `at` does not belong here
  8 | decoder K1 at 1
    |            ^^
  try: say of which kind it is: `decoder K1 KIND at 1`
""",
    ),
    Mistake(
        "a drive in small letters",
        "drive P1 = K1.1  coil 200 ms\n",
        "drive p1 = K1.1  coil 200 ms\n",
        """\
layout.crank:9:7: error E201: there is no fitting with a drive `p1`
  9 | drive p1 = K1.1  coil 200 ms
    |       ^^
  expected: a fitting with a drive: P1, P2
  try: did you mean `P1`?
""",
    ),
    Mistake(
        "a fitting in small letters",
        "run P1.straight - <S1 - T1 - stop\n",
        "run p1.straight - <S1 - T1 - stop\n",
        """\
layout.crank:3:5: error E201: there is no fitting `p1`
  3 | run p1.straight - <S1 - T1 - stop
    |     ^^
  expected: a fitting: P1, P2
  try: did you mean `P1`?
""",
    ),
    Mistake(
        "two versions left by a merge",
        "signal H = K1.3\n",
        """\
<<<<<<< HEAD
signal H = K1.3
=======
signal H = K1.4
>>>>>>> other
""",
        """\
layout.crank:11:1: error E109: here stand two versions of the same lines, as a merge has left them
  11 | <<<<<<< HEAD
     | ^^^^^^^
  try: keep one of them, and take out the lines that begin with `<<<<<<<`, `=======` and `>>>>>>>`
""",
    ),
    Mistake(
        "an unknown decoder",
        "drive P2 = K1.2  coil 200 ms\n",
        "drive P2 = K2.2  coil 200 ms\n",
        """\
layout.crank:10:12: error E201: there is no decoder `K2`
  10 | drive P2 = K2.2  coil 200 ms
     |            ^^
  expected: a decoder: K1
  try: add `decoder K2 quad`
""",
    ),
    Mistake(
        "an output that a decoder has not",
        "drive P2 = K1.2  coil 200 ms\n",
        "drive P2 = K1.5  coil 200 ms\n",
        """\
layout.crank:10:15: error E601: K1 has no output 5
  10 | drive P2 = K1.5  coil 200 ms
     |               ^
  expected: an output from 1 to 4
  try: K1.2 is free
""",
    ),
    Mistake(
        "a run through a fitting",
        """\
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - T1 - stop
""",
        "run edge WEST - A - >H - P1.toe - P1.straight - <S1 - T1 - stop\n",
        """\
layout.crank:2:26: error E312: a run cannot go through a fitting, from P1.toe to P1.straight
  2 | run edge WEST - A - >H - P1.toe - P1.straight - <S1 - T1 - stop
    |                          ^^^^^^^^^^^^^^^^^^^^
  try: end the run at P1.toe and start another with `run P1.straight - …`
""",
    ),
    Mistake(
        "a fitting without its leg",
        "run edge WEST - A - >H - P1.toe\n",
        "run edge WEST - A - >H - P1\n",
        """\
layout.crank:2:26: error E316: say which leg of P1 is meant
  2 | run edge WEST - A - >H - P1
    |                          ^^
  expected: P1.toe or P1.straight or P1.diverging
""",
    ),
    Mistake(
        "a signal named twice",
        "run P2.straight - <S2 - T2 - stop\n",
        "run P2.straight - <S1 - T2 - stop\n",
        """\
layout.crank:5:20: error E202: `S1` is the name of a signal already
  5 | run P2.straight - <S1 - T2 - stop
    |                    ^^
  try: give one of them another name
  layout.crank:3:20: named here first
  3 | run P1.straight - <S1 - T1 - stop
    |                    ^^
""",
    ),
    Mistake(
        "two statements in a line",
        "decoder K1 quad at 1\n",
        "decoder K1 quad at 1 drive P3 = K1.4\n",
        """\
layout.crank:8:22: error E101: `drive` does not belong here
  8 | decoder K1 quad at 1 drive P3 = K1.4
    |                      ^^^^^
  expected: the end of the line
  try: one statement a line: begin a new one with `drive P3 = K1.4`
""",
    ),
    Mistake(
        "an equals sign left out",
        "drive P1 = K1.1  coil 200 ms\n",
        "drive P1 K1.1  coil 200 ms\n",
        """\
layout.crank:9:10: error E101: `K1.1` does not belong here
  9 | drive P1 K1.1  coil 200 ms
    |          ^^^^
  try: write `drive P1 = K1.1`
""",
    ),
    Mistake(
        "a comma left out of a supply",
        "",
        """\
decoder K2 quad at 5
supply B { feeds K1 K2  one at a time }
""",
        """\
layout.crank:13:21: error E101: `K2` does not belong here
  13 | supply B { feeds K1 K2  one at a time }
     |                     ^^
  try: put commas between the names: `feeds K1, K2`
""",
    ),
    Mistake(
        "a brace that is not closed",
        "decoder kind quad { outputs 4  switches 9 }\n",
        "decoder kind quad { outputs 4  switches 9\n",
        """\
layout.crank:7:19: error E104: this block is never closed
  7 | decoder kind quad { outputs 4  switches 9
    |                   ^
  expected: a `}` after the last part of the block
""",
    ),
    Mistake(
        "switch for points",
        "points P1, P2\n",
        "switch P1, P2\n",
        """\
layout.crank:1:1: error E204: there is no kind of fitting `switch`
  1 | switch P1, P2
    | ^^^^^^
  expected: one of: points; three way points; double slip with one drive; double slip with two
    drives; single slip with one drive; single slip with two drives; fixed diamond
  try: did you mean `points`?
""",
    ),
    Mistake(
        "turnouts for points",
        "points P1, P2\n",
        "turnouts P1, P2\n",
        """\
layout.crank:1:1: error E204: there is no kind of fitting `turnouts`
  1 | turnouts P1, P2
    | ^^^^^^^^
  expected: one of: points; three way points; double slip with one drive; double slip with two
    drives; single slip with one drive; single slip with two drives; fixed diamond
  try: did you mean `points`?
""",
    ),
    Mistake(
        "a leg in a capital letter",
        "run edge WEST - A - >H - P1.toe\n",
        "run edge WEST - A - >H - P1.Toe\n",
        """\
layout.crank:2:29: error E317: P1 has no leg `Toe`
  2 | run edge WEST - A - >H - P1.Toe
    |                             ^^^
  expected: a leg of points: toe, straight, diverging
  try: did you mean `toe`?
""",
    ),
    Mistake(
        "normal for straight",
        "run P1.straight - <S1 - T1 - stop\n",
        "run P1.normal - <S1 - T1 - stop\n",
        """\
layout.crank:3:8: error E317: P1 has no leg `normal`
  3 | run P1.normal - <S1 - T1 - stop
    |        ^^^^^^
  expected: a leg of points: toe, straight, diverging
  try: here it is called `straight`
""",
    ),
    Mistake(
        "an expected route that is none",
        "",
        "expect H to T4 with S1 to WEST\n",
        """\
layout.crank:12:8: error E501: there is no route `H to T4`
  12 | expect H to T4 with S1 to WEST
     |        ^^^^^^^
  expected: a route from H: H to T1, H to T2, H to T3
""",
    ),
    Mistake(
        "an unknown fitting in a section",
        "",
        "section NECK = P1, P3\n",
        """\
layout.crank:12:20: error E201: there is no piece or fitting `P3`
  12 | section NECK = P1, P3
     |                    ^^
  expected: a piece or fitting: A, P1, P2, T1, T2, T3
""",
    ),
    Mistake(
        "a comma for a decimal point",
        "drive P1 = K1.1  coil 200 ms\n",
        "drive P1 = K1.1  coil 0,2 s\n",
        """\
layout.crank:9:24: error E101: `,` does not belong here
  9 | drive P1 = K1.1  coil 0,2 s
    |                        ^
  expected: the end of the line, `coil`, `crossed`, `detected`, `held`, `motor`, `one`, `rests`,
    `servo`, `settles`, `takes` or `wires`
  try: write `0.2`, with a point
""",
    ),
    Mistake(
        "a brace on the next line",
        "decoder kind quad { outputs 4  switches 9 }\n",
        """\
decoder kind quad
{ outputs 4  switches 9 }
""",
        """\
layout.crank:7:18: error E101: the line ends too early
  7 | decoder kind quad
    |                  ^
  expected: `{`
  try: put the `{` on this line, behind what it belongs to
""",
    ),
    Mistake(
        "a colon behind a keyword",
        "points P1, P2\n",
        "points: P1, P2\n",
        """\
layout.crank:1:7: error E101: `:` does not belong here
  1 | points: P1, P2
    |       ^
  expected: a name, the end of the line, `,`, `with` or `{`
  try: leave the `:` out
""",
    ),
    Mistake(
        "a blank in a name",
        "run P1.straight - <S1 - T1 - stop\n",
        "run P1.straight - <S1 - Track 1 - stop\n",
        """\
layout.crank:3:31: error E101: `1` does not belong here
  3 | run P1.straight - <S1 - Track 1 - stop
    |                               ^
  expected: the end of the line, `-` or `.`
  try: names have no blanks: write `Track_1`; a leg is written `P1.toe`, and `-` joins two pieces
""",
    ),
    Mistake(
        "a dash for the point of an output",
        "drive P1 = K1.1  coil 200 ms\n",
        "drive P1 = K1-1  coil 200 ms\n",
        """\
layout.crank:9:14: error E101: `-` does not belong here
  9 | drive P1 = K1-1  coil 200 ms
    |              ^
  try: a point stands between decoder and output: `K1.1`
""",
    ),
    Mistake(
        "a decoder without its output",
        "drive P1 = K1.1  coil 200 ms\n",
        "drive P1 = K1  coil 200 ms\n",
        """\
layout.crank:9:12: error E601: K1 is a decoder; which of its outputs is meant is not said
  9 | drive P1 = K1  coil 200 ms
    |            ^^
  expected: an output from K1.1 to K1.4
  try: `quad` would take the next free output of that kind
""",
    ),
    Mistake(
        "the side of a signal's output",
        "signal H = K1.3\n",
        "signal H = K1.3 green\n",
        """\
layout.crank:11:17: error E101: `green` does not belong here
  11 | signal H = K1.3 green
     |                 ^^^^^
  expected: the end of the line or `repeated`
  try: leave `green` out: the output shows stop on its red side, proceed on its green
""",
    ),
    Mistake(
        "a misspelt kind of decoder",
        "decoder K1 quad at 1\n",
        "decoder K1 qaud at 1\n",
        """\
layout.crank:8:12: error E201: there is no kind of decoder `qaud`
  8 | decoder K1 qaud at 1
    |            ^^^^
  expected: a kind of decoder: quad
  try: did you mean `quad`?
""",
    ),
    Mistake(
        "a leg misspelt in a fitting of one's own",
        "  way toe - south when south\n",
        "  way toe - suoth when south\n",
        """\
layout.crank:5:13: error E301: this fitting has no leg `suoth`
  5 |   way toe - suoth when south
    |             ^^^^^
  expected: one of its legs: toe, north, south
  try: did you mean `south`?
""",
        OWN,
    ),
    Mistake(
        "a position misspelt in a fitting of one's own",
        "  way toe - south when south\n",
        "  way toe - south when suoth\n",
        """\
layout.crank:5:24: error E302: this drive has no position `suoth`
  5 |   way toe - south when suoth
    |                        ^^^^^
  expected: one of its positions: north, south
  try: did you mean `south`?
""",
        OWN,
    ),
    Mistake(
        "a way forgotten in a fitting of one's own",
        "  way toe - south when south\n",
        "",
        """\
layout.crank:2:20: error E303: no way leads to the leg `south`
  2 |   legs toe, north, south
    |                    ^^^^^
  expected: a line such as `way south - …`
""",
        OWN,
    ),
    Mistake(
        "a word of the language for a name",
        "P1",
        "via",
        """\
layout.crank:1:8: error E105: `via` is a word of the language and cannot be a name
  1 | points via
    |        ^^^
  try: call it something else, such as `via1`
""",
        """\
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - T1 - stop
run P1.diverging - <S2 - T2 - stop
decoder kind quad { outputs 4  switches 9 }
decoder K1 quad at 1
drive P1 = K1.1  coil 200 ms
""",
    ),
]


@pytest.mark.parametrize("text", [HALT, SLIP, OWN])
def test_what_is_changed_here_was_right(text: str) -> None:
    c = bellcrank.compile(text)
    assert isinstance(c, Sound) and c.diagnostics == ()


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda m: m.what)
def test_a_mistake_gets_one_message_with_what_helps(mistake: Mistake) -> None:
    was = mistake.was
    assert not was or was.isalnum() or mistake.text.count(was) == 1
    text = mistake.text.replace(was, mistake.now) if was else mistake.text + mistake.now
    c = bellcrank.compile(text)
    assert "".join(f"{render(d, c.program.texts)}\n" for d in c.diagnostics) == mistake.said


FURTHER = [
    ("run edge WEST -", "run edge «-»", "an edge has a name: `edge WEST`"),
    ("A - >H - P1.toe", "A - >H «P1».toe", "put a `-` before `P1`"),
    ("P1.straight - <S1 -", "P1.straight - <S1 «T1» -", "put a `-` before `T1`"),
    ("signal H = K1.3", "signal H = K1.3 «shunt»",
     "it comes before the `=`: write `signal H shunt = K1.3`"),
    ("signal H = K1.3", "signal H = K1.3 «shows» stop, caution, clear",
     "it comes before the `=`: write `signal H shows stop, caution, clear = K1.3`"),
    ("signal H = K1.3", "signal H, S1 «shunt»", "one signal a line: `signal H shunt`"),
    ("signal H = K1.3", "shunt signal H «=» K1.3", "write `signal H shunt = K1.3`"),
    ("signal H = K1.3", "section YARD = P1 «P2»", "put a comma before `P2`"),
    ("signal H = K1.3", "expect H to T1 never «H» to T2", "put `with` before `H`"),
    ("signal H = K1.3", "locking «{»\n}", "write `locking written {` if these are all the rules "
     "there are, or `locking derive {`"),
    ("signal H = K1.3", "locking written {\n  H to T1 «excludes» H to T2\n}",
     "here it is called `locks`"),
    ("drive P2 = K1.2  coil 200 ms", "drive P2 = K1.2  «stall» motor",
     "a stall motor is written with its time: `motor 3 s  held on`"),
    ("drive P2 = K1.2  coil 200 ms", "servo P2 «=» K1.2",
     "write `drive P2 = K1.2  servo 1500 ms`, with its own time"),
    ("points P1, P2", 'layout "Halt" «two» rail\npoints P1, P2', "write `on two rails`"),
    ("signal H = K1.3", "«sensor» T1 = M1.1", "did you mean `report`?"),
    ("T1 - stop", "T1 - «end»", "where track ends, write `stop`"),
    ("T1 - stop", "T1 - buffer «stop»", "write `stop` alone"),
    ("A - >H -", "A -«-» >H -", "one `-` joins two pieces"),
    ("run edge WEST", "track edge WEST «-» B", "track is laid by `run`: write `run edge WEST - …`"),
    ("P1.toe", "P1«:»toe", "a point stands between a fitting and its leg: `P1.toe`"),
    ("P1.toe", "P1«/»toe", "a point stands between a fitting and its leg: `P1.toe`"),
    ("run P1.straight", "P1«.»straight", "track is laid by `run`: write `run P1.straight - …`"),
    ("H = K1.3", "H = «3»", "an output is named with its decoder: `K1.3`"),
    ("P2 = K1.2", "P2 = «2»", "an output is named with its decoder: `K1.2`"),
    ("quad at 1", "quad «address» 1", "here it is called `at`"),
    (
        "{ outputs 4  switches 9 }",
        "«outputs» 4 switches 9",
        "what it has stands in braces: `{ outputs 4 switches 9 }`",
    ),
    ("outputs 4  ", "outputs 4«,» ", "leave the `,` out"),
    ("outputs 4  ", "outputs «=» 4 ", "leave the `=` out"),
    ("drive P1 =", "drive P1«,» P2 =",
     "one drive a line; if one output throws both, add a line `coupled P1, P2`"),
    ("points P1, P2\n", "points P1, P2\nexpect H to T1 «and» S1 to WEST\n",
     "here it is called `with`"),
    ("points P1, P2\n", "points P1, P2\nexpect H to T1 «not» with S1 to WEST\n",
     "here it is called `never`"),
    ("points P1, P2\n", "points P1, P2\nroute H «-»> T1\n",
     "a route is named by where it leads: `H to T1`"),
    ("points P1, P2\n", "points P1, P2\nsection NECK«:» P1, P2\n", "write `=` in place of the `:`"),
    ("points P1, P2\n", "points P1, P2\nsection NECK «P1», P2\n", "put a `=` before `P1`"),
    ("points P1, P2\n", "points P1, P2\nlayout «'»Marsh Halt'\n",
     'use straight double quotes: "Marsh Halt"'),
    ("points P1, P2\n", 'points P1, P2\nlayout «on» two rails "M"\n',
     'the title comes first: `layout "M" on two rails`'),
    ("points P1, P2\n", 'points P1, P2\ninclude «"x.crank"»\n',
     'here it is called `use`: `use "x.crank"`'),
    ("points P1, P2\n", "points P1, P2\ndouble«-»slip X1 with one drive\n",
     "the names of kinds have no dash: write `double slip`"),
    ("points P1, P2\n", "points P1, P2\nsupply S { feeds K1  gives 16 V «3 A» }\n",
     "put a comma between the two: `gives 16 V, 3 A`"),
    ("A - >H -", "A «>»H -", "put a `-` before `>H`"),
    ("P1.straight - <S1", "P1.straight «<»S1", "put a `-` before `<S1`"),
    ("coil 200 ms", "«200» ms coil", "write `coil 200 ms`"),
    ("{ outputs 4", "{ «output» 4", "did you mean `outputs`?"),
    ("kind quad { outputs 4  switches 9 }", "kind quad {\n  «output» 4\n}",
     "did you mean `outputs`?"),
    ("decoder kind quad {", "decoder kinds quad «{»",
     "write `decoder kind quad {`: a block describes one"),
    ("signal H = K1.3", "locking written {\n  H to T1 locks H to T2 «S1» to WEST\n}",
     "put a comma before `S1`"),
    ("signal H = K1.3", "locking written {\n  H to T1 locks H to T2 «and» S1 to WEST\n}",
     "put a comma in place of `and`"),
    ("signal H = K1.3", "locking written {\n  H to T1 «never» with H to T2\n}",
     "write `locks` in place of `never with`"),
    ("signal H = K1.3", "locking written {\n  only one route over each «P1», P2\n}",
     "put `of` before `P1`"),
    ("signal H = K1.3", "written locking «{»\n  only one route over P1\n}",
     "write `locking written {`"),
    ("signal H = K1.3", "supply S { feeds the «rest» }",
     "name its decoders, or a kind for all of that; `the rest` is what a district feeds"),
]  # fmt: skip
"""What is changed in HALT, with marks round the place, and the remedy."""


@pytest.mark.parametrize(("was", "now", "remedy"), FURTHER, ids=[f[1].strip() for f in FURTHER])
def test_a_further_mistake_gets_one_message_at_its_place_with_its_remedy(
    was: str, now: str, remedy: str
) -> None:
    marked = HALT.replace(was, now, 1)
    before, at, _ = re.split("[«»]", marked)
    c = bellcrank.compile(re.sub("[«»]", "", marked))
    (found,) = c.diagnostics
    line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
    assert (found.span.line, found.span.column) == (line, column), render(found, c.program.texts)
    assert found.span.end_column - found.span.column == len(at)
    assert found.hint == remedy


def test_there_are_forty_and_some() -> None:
    assert len(MISTAKES) >= 40


def test_tabs_and_long_dashes_are_read_as_they_are_meant() -> None:
    text = HALT.replace("drive P1 = K1.1  coil", "drive\tP1\t=\tK1.1\tcoil").replace(" - ", " — ")
    assert bellcrank.compile(text).diagnostics == ()


def test_an_output_that_a_later_line_names_is_not_said_to_be_free() -> None:
    text = HALT.replace("drive P2 = K1.2", "drive P2 = K1.1").replace("K1.3", "K1.2")
    (found,) = bellcrank.compile(text).diagnostics
    assert found.hint == "K1.3 is free"


def test_without_a_free_output_a_decoder_is_to_be_added() -> None:
    text = HALT.replace("drive P2 = K1.2", "drive P2 = K1.1").replace("outputs 4", "outputs 2")
    (found,) = bellcrank.compile(text.replace("K1.3", "K1.2")).diagnostics
    assert found.hint == "no output is free: add a decoder, such as `decoder K2 quad`"


def test_of_a_leg_used_twice_the_odd_one_may_be_the_first() -> None:
    """P2.straight is meant where the run stands beside the others of P2."""
    right = "run P1.straight - <S1 - T1 - stop\n"
    text = HALT.replace(right, "").replace("P2.straight", "P1.straight") + right
    (found,) = bellcrank.compile(text).diagnostics
    assert found.code == "E310"
    assert found.span.line == text.splitlines().index("run P1.straight - <S2 - T2 - stop") + 1
    assert found.hint == "is `P2.straight` meant? No run is joined to it"


def test_a_fitting_that_is_spelled_like_none_is_the_one_that_lacks_a_run() -> None:
    text = HALT.replace("run P2.straight", "run WEICHE.straight")
    (found,) = bellcrank.compile(text).diagnostics
    assert found.hint == "did you mean `P2`?"


DOZEN = """\
layout Marsh Halt
points P1 P2
run edge WEST - A - >H - P1.toe
run P3.straight - <S1 - T1 - stop
run P1.diverging - P2.toe
run P2.straight - <S2 - T2 -
run P2.divergin - <S3 - T3 - stop
decoder kind quad { outputs 4  switches 9 }
decoder K1 qaud at 1
drive P1 = K1.1  coil 200
drive P2 = K1.1  swapped
signal HX = K1.3
section NECK = P1, PX
output LAMP K1.4
"""


def test_a_dozen_mistakes_are_told_in_one_run() -> None:
    """Also those that stand beside lines which cannot be read at all."""
    c = bellcrank.compile(DOZEN)
    assert [(d.span.line, d.code) for d in c.diagnostics] == [
        (1, "E101"),
        (2, "E101"),
        (4, "E201"),
        (6, "E101"),
        (7, "E317"),
        (9, "E201"),
        (10, "E606"),
        (11, "E101"),
        (12, "E201"),
        (13, "E201"),
        (14, "E101"),
    ]


def test_what_may_follow_from_a_line_that_cannot_be_read_is_not_told() -> None:
    """A and K1 may be what the bad lines declare."""
    text = HALT.replace("decoder K1 quad at 1", "decoder K1 quad at 1 2").replace(
        "run edge WEST - A", "run edge WEST - A A"
    )
    assert [d.code for d in bellcrank.compile(text).diagnostics] == ["E101", "E101"]


@pytest.mark.parametrize(
    ("was", "now", "message", "hint"),
    [
        ("points P1, P2", "P1, P2", "`P1` stands alone", None),
        ("decoder K1 quad", "DECODER K1 quad", "there is no kind", "did you mean `decoder`?"),
        ("decoder K1 quad", "decoder K11 quad", "there is no decoder `K1`", "did you mean `K11`?"),
        ("points P1, P2", "points P1, P22", "there is no fitting `P2`", "did you mean `P22`?"),
    ],
)
def test_what_many_lines_name_is_told_of_once(
    was: str, now: str, message: str, hint: str | None
) -> None:
    found = bellcrank.compile(HALT.replace(was, now)).diagnostics
    assert len(found) <= 2  # once for each sort of thing that it is looked for as
    assert len({d.message.split("`")[-2] for d in found}) == 1
    assert found[0].message.startswith(message)
    assert hint is None or found[0].hint == hint


def test_a_slip_without_the_word_with_is_told_whole() -> None:
    (found,) = bellcrank.compile(SLIP.replace(" with one drive", " one drive")).diagnostics
    assert found.code == "E204"
    assert found.hint == "write `double slip S1 with one drive`"
