"""Scripts that let the machine run: their lines, what these do, and what they expect."""
