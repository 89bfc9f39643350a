"""The grammar of the layout language and the standard fittings, as data."""
