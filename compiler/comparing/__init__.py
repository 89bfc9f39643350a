"""Two texts of one layout: what changed in its routes and its locking, and what that means at the
bench."""
