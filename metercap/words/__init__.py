"""What the operator says: keys in a terminal, or lines on stdin. Both end as a word and its argument.

`WORDS` is the vocabulary, `parse_line` its grammar, `help_lines` what help shows. `KeyWords` turns single keys (a pedal
that types one included) into words and gives the terminal back as it was, however the program ends; `LineWords` reads
lines from a pipe. None of them knows the session: a word that means nothing at the moment is the session's to refuse.
"""

from metercap.words.listen import NO_STOPPING, KeyWords, LineWords, WordSink, WordSource, word_source
from metercap.words.terminal import forget_keys, restore_terminals
from metercap.words.vocabulary import HELP_KEY, WORDS, Word, help_lines, key_name, key_table, parse_line

__all__ = [
    "HELP_KEY",
    "NO_STOPPING",
    "WORDS",
    "KeyWords",
    "LineWords",
    "Word",
    "WordSink",
    "WordSource",
    "forget_keys",
    "help_lines",
    "key_name",
    "key_table",
    "parse_line",
    "restore_terminals",
    "word_source",
]
