"""Meantide: music outside twelve equal notes, played live and proved in tune."""

__version__ = "0.1.0"
