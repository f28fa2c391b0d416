"""Lets this room's tests import their drawing helpers by name; pytest's importlib mode does not."""
