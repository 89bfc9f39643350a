"""A first layout, written for those who begin: from a few wishes to a text that can be proved.

What is wished is a value (`wishes`), what lies there another (`track_plan`, one builder for each
kind in `track_kinds`); signals, decoders and detectors are added to any track by rules that
know no kind (`bench_lines`). `first_layout` puts it all into words. Nothing here reads a layout or
proves one: the text is what anybody could have typed.
"""
