; Written by `python -m bellcrank.editing.highlighting grammar/editors`.
(word) @variable
(comment) @comment
(string) @string
(quantity) @number
(unit) @type
((word) @number (#match? @number "^[0-9]+$"))
(leg (word) (word) @property)
(signal_rightwards (word) @label)
(signal_leftwards (word) @label)
["a" "above" "address" "and" "approach" "as" "at" "below" "beside" "between" "blinking" "by" "calling" "cancel" "capacitor" "clear" "coil" "counts" "crossed" (isolated) "derive" "detected" "detection" "drawn" "each" "edge" "every" "feeds" "for" "from" "fuse" "gives" "hand" "held" "imagined" "in" "inputs" (kind_inverted) "its" "kind" "lamps" "learns" "legs" "locks" "most" "motor" "needs" "never" "of" "on" "one" "only" "opens" "outputs" "over" "packets" "positions" "pulses" "rails" "range" "repeated" "rest" "rests" "rotary" "sections" "servo" "set" "settles" "shows" "shunt" "steps" (stop) "switch" "switches" "takes" "terminals" "the" "then" "through" "times" "to" "traverser" "turntable" "variable" "variables" "via" "way" "weights" "when" "whole" "wires" "with" "without" "written"] @keyword
["bridge" "button" "coupled" "decoder" "detector" "district" "draw" "drive" "expect" "fitting" "flank" "frog" "lamp" "layout" "locking" "note" "numbering" "output" "overlap" "platform" "release" "report" "reverser" "route" "routes" "run" "section" "signal" "supply" "time" "use"] @keyword
["=" "<" ">"] @operator
["{" "}"] @punctuation.bracket
"." @punctuation.delimiter
