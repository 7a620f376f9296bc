"""Voices: what they are, and the numpy arithmetic that makes their samples."""
