"""What a learned reference says: of each item how many good units it rests on, and what they let expect."""

from metercap.learn.summary import Learned, learned, learned_lines

__all__ = ["Learned", "learned", "learned_lines"]
