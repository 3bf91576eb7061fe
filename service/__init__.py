"""Ebbmark: the service around the readers."""
