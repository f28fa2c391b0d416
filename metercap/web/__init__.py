"""Web: the second screen for a tablet, a phone or another window, and the door through which any page of ours goes.

`address` and `door` decide who is let in, `serving` runs an application on a socket. Nothing here is imported before a
page is wanted.
"""
