"""Proofs that are kept: what was shown of a clause, found again by all that it was shown of."""
