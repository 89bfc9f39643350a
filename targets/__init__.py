"""One folder a target: what to write for whom, as data and templates."""
