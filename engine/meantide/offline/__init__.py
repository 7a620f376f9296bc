"""Scores in, takes and proofs out: everything that needs no device."""
