"""Ebbmark: the service around the readers."""

__version__ = "0.1.0"
