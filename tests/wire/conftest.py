"""Lets this room's tests import their drawing helpers by name; pytest's importlib mode does not."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
