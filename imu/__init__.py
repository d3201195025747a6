"""Swingspread's core: two sensor streams in, release and tempo with their spread out."""

__version__ = "0.1.0"
