"""The moving proof: every property of the machine, proved, refuted or undecided."""
