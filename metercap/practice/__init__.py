"""The practice bench: a simulated meter, board and technician, so that no hardware is needed to learn or
test.

`scene` reads the TOML description, `parts` and `board` are what the probes can touch, `meter` converts and
shows,
`frames` draws what is shown into bytes, `hands` is the technician, `bench` ties them to one time line, `port`
puts the meter on a real pseudo-terminal, and `audit` compares what was said with what was true.

Everything here is invented data for practice. Nothing in it decodes: the frames are drawn with tables of
their own, so that a mistake of the decoder and a mistake of the bench cannot hide each other.
"""
