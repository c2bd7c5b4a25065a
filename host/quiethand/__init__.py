"""Quiethand: how a bow turned and was twisted while the arrow was still on the string."""

__version__ = "0.1.0"
